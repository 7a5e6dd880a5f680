"""What sits on which pin of a board, and what its chips answer there."""

import math
import runpy
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from sootline.channels import CHANNELS
from sootline.sim import chips

FIRMWARE = Path(__file__).resolve().parents[3] / "firmware"
_PIN_MAP = FIRMWARE.parent / "hardware" / "pinmap.toml"
_RAIL_UV = 5_000_000.0


def board_pins(board: str) -> dict[str, Any]:
    """The generated pin module of a board type, as a dict."""
    return runpy.run_path(str(FIRMWARE / "sootboard" / f"pins_{board}.py"))


def board_settings(furnace: str, channels: Iterable[str], board: str = "esp32") -> dict[str, Any]:
    """Settings that wire as many of `channels` as the board has inputs for; broker left out."""
    wanted = [c for c in CHANNELS if c in set(channels)]
    signals = tomllib.loads(_PIN_MAP.read_text(encoding="utf-8"))["signal"]
    inputs: dict[str, str] = {signal["id"]: signal["channel"] for signal in signals if signal["role"] == "di"}
    contacts = {signal: channel for signal, channel in inputs.items() if channel in wanted}
    free = [signal for signal in inputs if signal not in contacts]
    spare = [c for c in wanted if CHANNELS[c].kind == "state" and c not in contacts.values()]
    contacts.update(zip(free, spare, strict=False))
    spi: dict[str, dict[str, Any]] = {}
    if "stack" in wanted:
        spi["cs_stack"] = {"chip": "max31856", "channel": "stack"}
    if "nozzle" in wanted:
        spi["cs_nozzle"] = {"chip": "max31865", "channel": "nozzle"}
    analog: dict[str, dict[str, Any]] = {}
    if "air_pressure" in wanted:
        analog["adc_air"] = {"kind": "transducer", "channel": "air_pressure"}
    current = next((c for c in wanted if CHANNELS[c].unit == "A"), None)
    if current and not analog:  # the transformer takes the place of the pressure transducer
        analog["adc_air"] = {"kind": "current", "channel": current, "a_per_v": 30.0}
    if "supply_level" in wanted:
        analog["adc_level"] = {"kind": "loop", "channel": "supply_level"}
    thermometers = [c for c in wanted if CHANNELS[c].unit == "Cel" and c not in ("stack", "nozzle")]
    onewire = {chips.rom_id(0x51A0 + i).hex(): c for i, c in enumerate(thermometers)}
    return {
        "furnace": furnace,
        "board": board,
        "spi": spi,
        "analog": analog,
        "onewire": onewire,
        "contacts": contacts,
    }


class OneWire:
    """All DS18B20 of the bus."""

    def __init__(self, roms: Mapping[str, str]) -> None:
        self.devices = {channel: chips.Ds18b20(bytes.fromhex(rom)) for rom, channel in roms.items()}
        self.channels = list(self.devices)
        self._buffer = b""
        self._answer = b""
        self._searching: list[str] = []
        self._phase = 0
        self._bit = 0

    def reset(self) -> None:
        self._buffer = b""
        self._answer = b""

    def write(self, data: bytes, values: Mapping[str, float | bool], alive: Mapping[str, chips.Fault | None]) -> None:
        self._buffer += data
        command = self._buffer
        if command[0] == 0xF0:
            self._searching, self._phase, self._bit = list(alive), 0, 0
            return
        skip = command[0] == 0xCC
        rest = command[1:] if skip else command[9:]
        chosen = [c for c in alive if skip or self.devices[c].rom == command[1:9]]
        if not rest:
            return
        if rest[0] == 0x44:
            for c in chosen:
                self.devices[c].convert(float(values.get(c, math.nan)), alive[c])
        elif rest[0] == 0xBE:
            pads = [self.devices[c].scratchpad(alive[c]) for c in chosen]
            # The bus is wired-and: zeros win.
            self._answer = bytes(b for b in map(_and, zip(*pads, strict=True))) if pads else b""

    def read(self, n: int, alive: Mapping[str, chips.Fault | None]) -> bytes:
        if "short" in alive.values():
            return bytes(n)
        return (self._answer + b"\xff" * n)[:n]

    def search_bit(self, alive: Mapping[str, chips.Fault | None]) -> int:
        bits = [self.devices[c].rom[self._bit // 8] >> self._bit % 8 & 1 for c in self._searching]
        self._phase += 1
        return int(all(bits)) if self._phase % 2 else int(not any(bits))

    def search_put(self, bit: int) -> None:
        at = self._bit
        self._searching = [c for c in self._searching if self.devices[c].rom[at // 8] >> at % 8 & 1 == bit]
        self._bit += 1


def _and(values: Iterable[int]) -> int:
    out = 0xFF
    for v in values:
        out &= v
    return out


class Wiring:
    """What sits on which pin."""

    def __init__(self, settings: Mapping[str, Any]) -> None:
        board = board_pins(settings.get("board", "esp32"))
        pins = board["PINS"]
        self._board = board
        self.contacts = {pins[s]: (c, chips.Contact()) for s, c in settings.get("contacts", {}).items()}
        self.spi: dict[int, tuple[str, chips.SpiChip]] = {}
        for signal, part in settings.get("spi", {}).items():
            self.spi[pins[signal]] = (part["channel"], _spi_chip(part, board))
        self.onewire = OneWire(settings.get("onewire", {}))
        self._analog = {pins[s]: part for s, part in settings.get("analog", {}).items()}
        self._rail_pin = pins["adc_5v"]
        self._mains_hz = settings.get("mains_hz", 50)

    @property
    def levels(self) -> int:
        """All input pins as bits by pin number."""
        return sum(contact.level << pin for pin, (_, contact) in self.contacts.items())

    def contacts_at(
        self, values: Mapping[str, float | bool], t_ms: int, faults: Mapping[str, chips.Fault]
    ) -> list[tuple[int, int]]:
        """Move the contacts on to `t_ms`; the changes of the levels as `(t_ms, levels)`."""
        changes = []
        for channel, contact in self.contacts.values():
            for at, _ in contact.update(bool(values.get(channel, False)), t_ms, faults.get(channel)):
                changes.append((at, self.levels))
        return changes

    def adc(self, pin: int, values: Mapping[str, float | bool], faults: Mapping[str, chips.Fault]) -> str:
        """Voltage [uV] at a pin; with a wave on it also its peak [uV] and frequency [Hz]."""
        air, level = self._board["AIR"], self._board["LEVEL"]
        divider = (air["divider_top_ohm"] + air["divider_bottom_ohm"]) / air["divider_bottom_ohm"]
        if pin == self._rail_pin:
            return str(round(_RAIL_UV / float(divider)))
        part = self._analog.get(pin)
        if part is None:
            return "0"
        value, fault = float(values.get(part["channel"], math.nan)), faults.get(part["channel"])
        if math.isnan(value):
            fault = "absent"
        if part["kind"] == "loop":
            low, high = part.get("low", 0.0), part.get("high", 1.0)
            return str(chips.loop_uv((value - low) / (high - low), fault, level["burden_ohm"]))
        if part["kind"] == "current":
            mid_uv, peak_uv = chips.current_uv(value, fault, _RAIL_UV, divider, part["a_per_v"])
            return f"{mid_uv} {peak_uv} {self._mains_hz}"
        low, high = part.get("low", 0.0), part.get("high", air["full_scale_pa"])
        share = (value - low) / (high - low)
        return str(chips.transducer_uv(share, fault, _RAIL_UV, divider, air["ratio_zero"], air["ratio_span"]))


def _spi_chip(part: Mapping[str, Any], board: Mapping[str, Any]) -> chips.SpiChip:
    kind = part["chip"]
    if kind == "max31855":
        return chips.Max31855()
    if kind == "max31856":
        return chips.Max31856()
    if kind == "max31865":
        rtd = board["RTD"]
        return chips.Max31865(part.get("r0_ohm", rtd["r0_ohm"]), part.get("r_ref_ohm", rtd["rref_ohm"]))
    raise ValueError(f"no such chip: {kind}")
