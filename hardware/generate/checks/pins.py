"""Is each signal on a pin that can do its work, on every board?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from hardware.generate.checks.problem import Problem
from hardware.generate.load import Hardware, Signal, Table

FORBIDDEN = {
    "flash": "belongs to the flash memory",
    "console": "is the console",
    "strap": "is read at reset and may stop the boot",
    "radio": "belongs to the radio",
}
OUTPUT_ROLES = {"do", "cs", "spi", "onewire"}
PULLED_ROLES = {"di", "cs", "onewire"}
MAINS_PERIOD_MS = 20
ROLES = OUTPUT_ROLES | PULLED_ROLES | {"adc"}


def problems(hardware: Hardware) -> Iterator[Problem]:
    for board, chip in hardware.boards.items():
        used = Counter(signal.pins.get(board) for signal in hardware.signals)
        for signal in hardware.signals:
            yield from _pin(signal, board, chip, used)
    yield from _signals(hardware)


def _pin(signal: Signal, board: str, chip: Table, used: Counter[int | None]) -> Iterator[Problem]:
    where = f"pinmap {signal.id} on {board}"
    pin = signal.pins.get(board)
    if pin is None:
        yield Problem("pin-missing", where, "has no pin on this board")
        return
    if pin not in chip["gpio"]:
        yield Problem("pin-unknown", where, f"GPIO{pin} does not exist")
    if used[pin] > 1:
        yield Problem("pin-duplicate", where, f"GPIO{pin} is used twice")
    for group, why in FORBIDDEN.items():
        if pin in chip[group]:
            yield Problem(f"pin-{group}", where, f"GPIO{pin} {why}")
    if pin in chip["psram"] and not signal.optional:
        yield Problem("pin-psram", where, f"GPIO{pin} is taken on modules with PSRAM: optional signals only")
    if signal.role in OUTPUT_ROLES and signal.id != "spi_miso" and pin in chip["input_only"]:
        yield Problem("pin-input-only", where, f"GPIO{pin} cannot drive an output")
    if signal.role == "adc":
        yield from _adc(signal, pin, chip, where)
    if signal.role == "spi" and pin not in chip[signal.id]:
        yield Problem(
            "pin-spi", where, f"GPIO{pin} is not {signal.id} of SPI{chip['spi_id']}; allowed: {chip[signal.id]}"
        )


def _adc(signal: Signal, pin: int, chip: Table, where: str) -> Iterator[Problem]:
    if pin in chip["adc_wifi_blocked"]:
        yield Problem("pin-adc2", where, f"the converter on GPIO{pin} does not work while Wi-Fi runs")
    elif pin not in chip["adc_wifi_ok"]:
        yield Problem("pin-adc", where, f"GPIO{pin} has no analog converter")
    low, high = signal.range_mv or (0.0, float("inf"))
    if low < chip["adc_mv"][0] or high > chip["adc_mv"][1]:
        yield Problem("adc-range", where, f"{low:g}-{high:g} mV leaves the converter's {chip['adc_mv']} mV")


def _signals(hardware: Hardware) -> Iterator[Problem]:
    for name, count in Counter(signal.id for signal in hardware.signals).items():
        if count > 1:
            yield Problem("signal-duplicate", f"pinmap {name}", "is listed twice")
    for channel, count in Counter(c for signal in hardware.signals for c in signal.channels).items():
        if count > 1:
            yield Problem("channel-duplicate", f"pinmap {channel}", "comes from two signals")
    allowed = set(hardware.rules["R4"]["must"])
    for signal in hardware.signals:
        where = f"pinmap {signal.id}"
        if signal.role not in ROLES:
            yield Problem("role-unknown", where, f"role {signal.role!r} is not one of {sorted(ROLES)}")
        if signal.role in PULLED_ROLES and not signal.pull_ohm:
            yield Problem("pull-missing", where, "needs an external pull-up: its level must not depend on the chip")
        if signal.role == "do" and signal.id not in allowed:
            yield Problem("R4", where, f"an output other than {sorted(allowed)}")
    bus = hardware.settings["bus"]
    if bus["spi_mode"] not in (1, 3) or bus["spi_baud"] > bus["spi_baud_max"]:
        yield Problem("spi-bus", "pinmap bus", "the converters take mode 1 or 3, at most 5 MHz")
    if (bus["debounce_samples"] - 1) * bus["poll_ms"] < MAINS_PERIOD_MS:
        yield Problem("debounce", "pinmap bus", "equal samples must span a mains period, or ripple passes for an edge")
