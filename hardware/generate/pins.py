"""The firmware's pin configuration, one module a board, made from `boards.toml` and `pinmap.toml`.

Only what the firmware reads: a board keeps every name it has met in its short memory as long as it runs.
"""

from __future__ import annotations

from hardware.generate.load import Hardware, Table

_READ = {
    "air": (
        "full_scale_pa",
        "ratio_zero",
        "ratio_span",
        "ratio_valid",
        "rail_valid_v",
        "divider_top_ohm",
        "divider_bottom_ohm",
    ),
    "level": ("burden_ohm", "fault_ma"),
    "rtd": ("r0_ohm", "rref_ohm", "wires"),
}
HEADER = '"""Pin configuration, {title}. Generated from hardware/; do not edit."""\n'


def pin_module(hardware: Hardware, board: str) -> str:
    """Source text of `pins_<board>.py`: plain dicts that MicroPython and CPython both read."""
    chip = hardware.boards[board]
    constants = {
        "WATCHDOG_MS": chip["watchdog_ms"],
        "PINS": {signal.id: signal.pins[board] for signal in hardware.signals},
        "SPI": {"id": chip["spi_id"], "baudrate": hardware.settings["bus"]["spi_baud"]},
        "DEBOUNCE_SAMPLES": hardware.settings["bus"]["debounce_samples"],
        **{name.upper(): _read(hardware.settings[name], keys) for name, keys in _READ.items()},
    }
    lines = [f"{name} = {_source(value)}" for name, value in constants.items()]
    return HEADER.format(title=chip["title"]) + "\n" + "\n".join(lines) + "\n"


def _source(value: object) -> str:
    if isinstance(value, dict):
        rows = (f'    "{key}": {_item(item)},\n' for key, item in value.items())
        return "{\n" + "".join(rows) + "}"
    return _item(value)


def _item(value: object) -> str:
    return f'"{value}"' if isinstance(value, str) else repr(value).replace("'", '"')


def _read(table: Table, keys: tuple[str, ...]) -> Table:
    return {key: tuple(table[key]) if isinstance(table[key], list) else table[key] for key in keys}
