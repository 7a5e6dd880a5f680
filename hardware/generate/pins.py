"""The firmware's pin configuration, one module a board, made from `boards.toml` and `pinmap.toml`."""

from __future__ import annotations

from hardware.generate.load import Hardware, Signal, Table

HEADER = '"""Pin configuration, {title}. Generated from hardware/; do not edit."""\n'


def pin_module(hardware: Hardware, board: str) -> str:
    """Source text of `pins_<board>.py`: plain dicts that MicroPython and CPython both read."""
    chip = hardware.boards[board]
    constants = {
        "BOARD": board,
        "WATCHDOG_MS": chip["watchdog_ms"],
        "PINS": {signal.id: _entry(signal, board) for signal in hardware.signals},
        "ONEWIRE_CHANNELS": hardware.signal("onewire").channels,
        "SPI": _spi(hardware.settings["bus"], chip),
        "INPUTS": {key: hardware.settings["bus"][key] for key in ("poll_ms", "debounce_samples", "boot_mute_ms")},
        "ADC_MV": tuple(chip["adc_mv"]),
        "AIR": _tuples(hardware.settings["air"]),
        "LEVEL": _tuples(hardware.settings["level"]),
        "RTD": _tuples(hardware.settings["rtd"]),
    }
    lines = [f"{name} = {_source(value)}" for name, value in constants.items()]
    return HEADER.format(title=chip["title"]) + "\n" + "\n".join(lines) + "\n"


def _entry(signal: Signal, board: str) -> Table:
    entry: Table = {"role": signal.role, "pin": signal.pins[board]}
    if len(signal.channels) == 1:
        entry["channel"] = signal.channels[0]
    if signal.device:
        entry["device"] = signal.device
    if signal.optional:
        entry["optional"] = True
    return entry


def _spi(bus: Table, chip: Table) -> Table:
    mode = bus["spi_mode"]
    return {"id": chip["spi_id"], "baudrate": bus["spi_baud"], "polarity": mode >> 1, "phase": mode & 1}


def _source(value: object) -> str:
    if isinstance(value, dict):
        rows = (f'    "{key}": {_item(item)},\n' for key, item in value.items())
        return "{\n" + "".join(rows) + "}"
    return _item(value)


def _item(value: object) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f'"{key}": {_item(item)}' for key, item in value.items()) + "}"
    return f'"{value}"' if isinstance(value, str) else repr(value).replace("'", '"')


def _tuples(table: Table) -> Table:
    return {key: tuple(value) if isinstance(value, list) else value for key, value in table.items()}
