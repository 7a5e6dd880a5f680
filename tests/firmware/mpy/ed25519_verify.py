"""Verifies the signatures given as `public signature message` in hexadecimal, a line each; `-` is an empty message."""

import binascii
import gc
import sys

from sootboard import ed25519, sha512


def result(steps):
    last = None
    count = 0
    most = 0
    for value in steps:
        last = value
        count += 1
        if count % 64 == 0:
            gc.collect()
            most = max(most, gc.mem_alloc())
    return last, count, most


with open(sys.argv[1]) as f:
    lines = f.read().split("\n")
gc.collect()
start = gc.mem_alloc()
peak = steps = 0
for line in lines[:-1]:
    words = [b"" if w == "-" else binascii.unhexlify(w) for w in line.split()]
    if len(words) == 1:
        print("sha512", binascii.hexlify(result(sha512.digest(words[0]))[0]).decode())
        continue
    good, n, most = result(ed25519.verify(*words))
    print("signature", int(good))
    peak = max(peak, most - start)
    steps = max(steps, n)
print("held_bytes", peak)
print("steps", steps)
