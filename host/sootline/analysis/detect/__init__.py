"""The detectors: one alarm (or one close family) a file, listed here by hand in the order they run."""

from sootline.analysis.detect.base import Detector
from sootline.analysis.detect.oil_overtemperature import OilOvertemperature
from sootline.analysis.detect.preheat_slow import PreheatSlow
from sootline.analysis.detect.preheat_stalled import PreheatStalled
from sootline.analysis.detect.pump_overrun import PumpOverrun
from sootline.analysis.detect.refill_timeout import RefillTimeout
from sootline.analysis.detect.stack_high import StackHigh
from sootline.analysis.detect.stack_rising import StackRising

DETECTORS: tuple[type[Detector], ...] = (
    PumpOverrun,
    RefillTimeout,
    PreheatSlow,
    PreheatStalled,
    OilOvertemperature,
    StackHigh,
    StackRising,
)
