"""Board code of sootline: reads the sensors of one furnace and publishes them. MicroPython 1.28 or later."""

VERSION = "0.1.0"
