"""A frame and its pack, as hex, for comparison between interpreters."""

import binascii

from rows import MASK, Week, encode
from sootboard import senml

week = Week(30000000)
rows = [week.next() for _ in range(20)]
rows[3].faults = {0: 1, 15: 5}
rows[4].values[9] = -250
rows[4].values[13] = 6199
rows[4].full = True
data = encode(0xDEADBEEF, 70000, MASK, rows)
print(binascii.hexlify(data).decode())
print(binascii.hexlify(senml.pack("engine-shed", data)).decode())
