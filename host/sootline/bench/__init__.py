"""The chip bench: runs the board code in its own process and answers it at the level of pins, SPI and 1-Wire.

`Bench` turns a function of time into chip frames; `Board` starts the interpreter with the board code, on
real time or faster. Used by the demo and by the tests; a real board never sees it.
"""

from sootline.bench.bench import Bench
from sootline.bench.board import Board, interpreter
from sootline.bench.wiring import FIRMWARE, board_pins, board_settings

__all__ = ["FIRMWARE", "Bench", "Board", "board_pins", "board_settings", "interpreter"]
