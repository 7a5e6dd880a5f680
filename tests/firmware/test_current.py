"""The heater current: RMS of known waves, faults of the transformer, and the whole way from the pin to the pack."""

import itertools
import math
from collections.abc import Callable
from typing import Any

import pytest

from sootline.bench import Bench, Board
from sootline.sim import chips

from .conftest import Listener, Mosquitto
from .senml_reader import resolve

START_MS = 1_795_600_000_000
RAIL_UV, DIVIDER, A_PER_V = 5e6, 2.2, 30.0
LIMITS = {"valid": (0.05, 0.95), "rail_valid_v": (4.5, 5.35)}
SAMPLES = 100  # two periods of fifty

# Wave of peak 1 over one turn, and its RMS without its mean: integrals as any handbook of electrical engineering has.
WAVES: dict[str, tuple[Callable[[float], float], float]] = {
    "sine": (lambda x: math.sin(2 * math.pi * x), 1 / math.sqrt(2)),
    "square": (lambda x: 1.0 if x < 0.5 else -1.0, 1.0),
    "triangle": (lambda x: 4 * abs(x - 0.5) - 1, 1 / math.sqrt(3)),
    "one half wave of a sine": (lambda x: max(0.0, math.sin(2 * math.pi * x)), math.sqrt(1 / 4 - 1 / math.pi**2)),
    "third harmonic beside it": (
        lambda x: 0.8 * math.sin(2 * math.pi * x) + 0.2 * math.sin(6 * math.pi * x),
        math.sqrt((0.8**2 + 0.2**2) / 2),
    ),
}


def _read(samples: list[float], rail_uv: float = RAIL_UV) -> tuple[float | None, str]:
    from sootboard.drivers.current import current

    value: tuple[float | None, str] = current(
        [round(x) for x in samples], 1, rail_uv / DIVIDER, DIVIDER, A_PER_V, **LIMITS
    )
    return value


def _wave(shape: Callable[[float], float], peak_V: float, middle_V: float = 2.5, from_turn: float = 0.0) -> list[float]:
    turns = [(from_turn + i / 50) % 1.0 for i in range(SAMPLES)]
    return [(middle_V + peak_V * shape(x)) * 1e6 / DIVIDER for x in turns]


@pytest.mark.parametrize("name", WAVES)
@pytest.mark.parametrize("from_turn", [0.0, 0.137, 0.81])
@pytest.mark.parametrize("middle_V", [2.3, 2.5, 2.7])
def test_rms_of_known_waves(name: str, from_turn: float, middle_V: float) -> None:
    shape, rms = WAVES[name]
    value, fault = _read(_wave(shape, 0.2, middle_V, from_turn))
    assert fault == ""
    # Fifty samples a turn see a corner to one part in some hundreds.
    assert value == pytest.approx(0.2 * rms * A_PER_V, rel=0.004)


def test_no_current_is_nought() -> None:
    assert _read([2.5e6 / DIVIDER] * SAMPLES) == (0.0, "")


@pytest.mark.parametrize(
    ("middle_V", "peak_V", "fault"),
    [(0.0, 0.0, "open"), (0.1, 0.05, "open"), (5.0, 0.0, "short"), (2.5, 2.4, "range"), (1.8, 0.1, "range")],
)
def test_what_is_no_measurement_is_a_fault(middle_V: float, peak_V: float, fault: str) -> None:
    assert _read(_wave(WAVES["sine"][0], peak_V, middle_V)) == (None, fault)


def test_a_supply_that_is_off_is_a_fault() -> None:
    assert _read([0.0] * SAMPLES, rail_uv=3.9e6) == (None, "range")


class _Clock:
    """Microseconds that pass with each look and each reading."""

    def __init__(self, reading_us: list[int]) -> None:
        self.now = 0
        self.at: list[int] = []
        self._reading_us = iter(reading_us)

    def ticks_us(self) -> int:
        self.now += 3
        return self.now

    def read(self) -> int:
        self.at.append(self.now)
        self.now += next(self._reading_us)
        return len(self.at)


def _paced(reading_us: list[int]) -> tuple[bool, list[int], list[int]]:
    from sootboard.clock import paced

    clock = _Clock(reading_us)
    into = [0] * len(reading_us)
    even = paced(clock.read, 400, into, clock.ticks_us, lambda a, b: a - b)
    return even, into, [b - a for a, b in itertools.pairwise(clock.at)]


def test_samples_are_evenly_spaced() -> None:
    even, into, steps = _paced([90] * 100)
    assert even and into == list(range(1, 101))
    assert sum(steps) == pytest.approx(99 * 400, abs=6) and all(abs(step - 400) <= 6 for step in steps)


def test_a_reading_that_came_late_is_told() -> None:
    even, _, steps = _paced([90] * 50 + [1500] + [90] * 49)
    assert not even
    assert sum(steps) == pytest.approx(99 * 400, abs=6)  # those after it stand where they belong again


def _signals(t_ms: int) -> dict[str, float | bool]:
    return {"tank": 60.0, "stack": 200.0, "pump": False, "tank_heater_current": 4.17, "tank_heater": True}


def _published(broker: Mosquitto, listener: Listener, fault: Any, settings: dict[str, Any] | None = None) -> list[Any]:
    bench = Bench(_signals, start_ms=START_MS, until_ms=START_MS + 12_000)
    if fault:
        bench.faults["tank_heater_current"] = fault
    with bench, Board("shed", bench=bench, broker_port=broker.port, speed=0, settings=settings) as board:
        assert bench.finished.wait(30), board.log
    points = [p for pack in listener.of("measurements") for p in resolve(pack)]
    return [p for p in points if p.name.startswith("tank_heater_current")]


@pytest.mark.parametrize("mains_hz", [50, 60])
def test_from_the_pin_to_the_pack(broker: Mosquitto, listener: Listener, mains_hz: int) -> None:
    points = _published(broker, listener, None, {"mains_hz": mains_hz})
    assert points and {p.name for p in points} == {"tank_heater_current"}
    assert all(p.value == pytest.approx(4.17, abs=0.02) for p in points)


@pytest.mark.parametrize("fault", ["open", "short"])
def test_fault_reaches_the_pack(broker: Mosquitto, listener: Listener, fault: Any) -> None:
    points = _published(broker, listener, fault)
    assert {(p.name, p.value) for p in points} == {("tank_heater_current/fault", fault)}


def test_the_bench_makes_the_wave_it_is_told() -> None:
    middle_uv, peak_uv = chips.current_uv(10.0, None, RAIL_UV, DIVIDER, A_PER_V)
    assert middle_uv == pytest.approx(2.5e6 / 2.2, abs=1)
    assert peak_uv / math.sqrt(2) * DIVIDER / 1e6 * A_PER_V == pytest.approx(10.0, rel=1e-5)
