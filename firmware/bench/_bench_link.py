"""Line-by-line talk of the fake parts with the host's chip bench, and the bench's settings from the environment."""

import os
import socket
import sys
import time

VIRTUAL = bool(os.getenv("SOOTLINE_BENCH_SPEED"))

_socket = socket.socket()
_socket.connect(socket.getaddrinfo(*(os.getenv("SOOTLINE_BENCH") or "127.0.0.1:0").split(":"))[0][-1])
_socket.setsockopt(6, 1, 1)  # no delay: one line, one answer


def ask(*words):
    """One exchange: board's milliseconds (virtual time only), words; the answer's text."""
    line = "%d %s\n" % (time.ticks_ms() if VIRTUAL else -1, " ".join([str(w) for w in words]))
    _socket.send(line.encode())
    answer = b""
    while not answer.endswith(b"\n"):
        piece = _socket.recv(128)  # small: this runs in the board's own short memory
        if not piece:
            sys.exit(70)  # the bench is gone
        answer += piece
    return answer.decode().strip()
