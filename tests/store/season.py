"""A seeded season of a furnace with the resolution and noise of real sensors: for benchmarks and large tests.

Decimals are those a board sends; the grain of each sensor is the one its chip has: 1/16 K one-wire, 1/4 K
thermocouple, 0.1 where the front end averages.
"""

from collections.abc import Iterator

import numpy as np
from scipy.signal import lfilter

from sootline.series import Rows
from tests.store.making import START_MS

EVERY_MS = 5000
DAY_ROWS = 86_400_000 // EVERY_MS
ANALOG = ("stack", "tank", "nozzle", "return_air", "supply_air", "room", "outdoor", "supply")
STATES = ("pump", "call", "burner", "flame", "tank_heater", "blower")


def _lag(drive: np.ndarray, tau_s: float) -> np.ndarray:
    a = EVERY_MS / 1000 / tau_s
    return lfilter([a], [1, a - 1], drive - drive[0]) + drive[0]


def days(n: int, seed: int = 1, grain: float | None = 0.1) -> Iterator[Rows]:
    """Rows of n days from START_MS, every 5 s, about 47 firings a day.

    grain: every analog channel is a multiple of it; None gives each sensor its own
    """
    rng = np.random.default_rng(seed)
    for day in range(n):
        i = np.arange(DAY_ROWS)
        period = 368 + rng.integers(-40, 40)
        on = i % period < period // 3
        turn = np.sin(i / DAY_ROWS * 2 * np.pi)

        def noisy(clean: np.ndarray, sigma: float, own: float) -> np.ndarray:
            step = grain or own
            return np.round(np.round((clean + rng.normal(0, sigma, DAY_ROWS)) / step) * step, 2) + 0.0

        values = {
            "stack": noisy(_lag(np.where(on, 330.0, 40.0), 90), 0.6, 0.25),
            "tank": noisy(60 + _lag(np.where(on, 3.0, -3.0), 600), 0.05, 0.0625),
            "nozzle": noisy(85 + _lag(np.where(on, 3.0, -3.0), 200), 0.08, 0.1),
            "return_air": noisy(15 + _lag(np.where(on, 3.0, -3.0), 900), 0.06, 0.0625),
            "supply_air": noisy(20 + _lag(np.where(on, 40.0, 0.0), 120), 0.2, 0.0625),
            "room": noisy(15 + _lag(np.where(on, 2.0, -2.0), 2000), 0.04, 0.0625),
            "outdoor": noisy(3 * turn, 0.05, 0.0625),
            "supply": noisy(5 + 2 * turn, 0.04, 0.0625),
        }
        states = {name: np.roll(on, 3 * k).astype(float) for k, name in enumerate(STATES)}
        yield Rows(START_MS + (day * DAY_ROWS + i) * EVERY_MS, values | states)


def arrivals(t_ms: np.ndarray, seed: int = 2) -> np.ndarray:
    """When each sample arrives: some tens of milliseconds later, as over a wireless network."""
    return t_ms + np.random.default_rng(seed).gamma(4.0, 6.0, len(t_ms)).astype(np.int64)
