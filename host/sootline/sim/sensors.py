"""From true process values to what a board reports: converter steps, noise, small calibration errors, sick sensors."""

import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sootline.series import Floats, SensorFault, Times
from sootline.sim.faults import Fault
from sootline.sim.weather import DAY_MS

SPIKE_SHARE = 0.01


@dataclass(frozen=True, slots=True)
class Converter:
    """Step of the converter, standard deviation of its noise and of its lasting error, in the channel's unit."""

    step: float
    noise: float
    error: float


_DIGITAL_THERMOMETER = Converter(0.0625, 0.03, 0.15)  # 12 bit, 1/16 K
_THERMOCOUPLE = Converter(0.25, 0.35, 1.5)  # 14 bit, 1/4 K
_RTD = Converter(0.03125, 0.03, 0.1)  # 15 bit against a 400-ohm reference: 1/32 K
_GAUGE = Converter(100.0, 150.0, 200.0)
_DRAFT = Converter(0.1, 0.3, 0.2)
_CURRENT = Converter(0.02, 0.02, 0.0)
_LEVEL = Converter(0.001, 0.002, 0.0)

CONVERTERS: dict[str, Converter] = {
    "tank": _DIGITAL_THERMOMETER,
    "nozzle": _RTD,
    "stack": _THERMOCOUPLE,
    "return_air": _DIGITAL_THERMOMETER,
    "supply_air": _DIGITAL_THERMOMETER,
    "room": _DIGITAL_THERMOMETER,
    "outdoor": _DIGITAL_THERMOMETER,
    "combustion_air": _DIGITAL_THERMOMETER,
    "supply": _DIGITAL_THERMOMETER,
    "air_pressure": _GAUGE,
    "suction": _GAUGE,
    "draft_fire": _DRAFT,
    "draft_breech": _DRAFT,
    "supply_level": _LEVEL,
    "tank_level": _LEVEL,
    "tank_heater_current": _CURRENT,
    "nozzle_heater_current": _CURRENT,
}

_NO_READING = {"sensor-open": "open", "sensor-short": "short", "sensor-absent": "absent", "sensor-crc": "crc"}


def generator(seed: int, channel: str, what: str) -> np.random.Generator:
    """Random numbers of one channel: another channel more or less does not change them."""
    return np.random.default_rng([seed, zlib.crc32(channel.encode()), zlib.crc32(what.encode())])


def convert(channel: str, true: Floats, seed: int) -> Floats:
    """What the converter of an analog channel gives for true values, NaN staying NaN."""
    converter = CONVERTERS[channel]
    rng = generator(seed, channel, "noise")
    error = converter.error * generator(seed, channel, "error").standard_normal()
    read = true + error + converter.noise * rng.standard_normal(len(true))
    return np.asarray(np.round(read / converter.step) * converter.step, np.float64)


def fail(
    channel: str, t_ms: Times, read: Floats, faults: Iterable[Fault], seed: int
) -> tuple[Floats, list[SensorFault]]:
    """Readings with the channel's sensor faults on them, and the readings known to be bad, which become NaN."""
    bad: list[SensorFault] = []
    for fault in faults:
        if fault.channel != channel or not fault.name.startswith("sensor-"):
            continue
        there = (t_ms >= fault.start_ms) & ~np.isnan(read)
        if fault.end_ms is not None:
            there &= t_ms < fault.end_ms
        if fault.name in _NO_READING:
            if fault.name == "sensor-crc":
                there &= generator(seed, channel, "crc").random(len(read)) < fault.amount
            bad += [SensorFault(int(t), channel, _NO_READING[fault.name]) for t in t_ms[there]]
            read = np.where(there, np.nan, read)
        else:
            read = _distort(fault, t_ms, read, there, seed)
    return read, bad


def _distort(fault: Fault, t_ms: Times, read: Floats, there: NDArray[np.bool_], seed: int) -> Floats:
    if fault.name == "sensor-frozen":
        earlier = read[(t_ms < fault.start_ms) & ~np.isnan(read)]
        held = earlier[-1] if len(earlier) else (read[there][0] if there.any() else np.nan)
        return np.where(there, held, read)
    if fault.name == "sensor-drift":
        days = (t_ms - fault.start_ms) / DAY_MS
        step = CONVERTERS[fault.channel].step if fault.channel in CONVERTERS else 1.0
        return np.where(there, read + np.round(fault.amount * days / step) * step, read)
    hit = there & (generator(seed, fault.channel, "spikes").random(len(read)) < SPIKE_SHARE)
    return np.where(hit, read + fault.amount, read)


def standing_sensor_faults(faults: Sequence[Fault], t_ms: int) -> dict[str, str]:
    """Channel -> what its chip does at a moment: open, short, absent, crc, or frozen."""
    kinds = _NO_READING | {"sensor-frozen": "frozen"}
    return {
        f.channel: kinds[f.name]
        for f in faults
        if f.name in kinds and f.start_ms <= t_ms and (f.end_ms is None or t_ms < f.end_ms)
    }
