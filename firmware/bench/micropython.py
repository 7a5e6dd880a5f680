"""Stand-in for the interpreter's own module where CPython runs board code; MicroPython never sees it."""


def const(value):
    """`value`: what the MicroPython compiler makes of a name that stands for a number."""
    return value
