"""firmware/README.md names every fault, lamp state, reset cause and setting, and no others."""

import re

from sootboard import channels, config, memo, warning

from sootline.bench import FIRMWARE
from sootline.channels import CHANNELS, FAULTS

TEXT = (FIRMWARE / "README.md").read_text()


def _table(heading: str, column: int = 0) -> set[str]:
    section = TEXT.split(f"## {heading}\n", 1)[1].split("\n## ", 1)[0]
    cells = [line.split("|")[1 + column] for line in section.splitlines() if line.startswith("|")]
    return {name for cell in cells for name in re.findall(r"`([^`]+)`", cell)}


def test_fault_codes() -> None:
    assert _table("Faults of a channel") == set(channels.FAULTS) - {""} == set(FAULTS)


def test_lamp_states() -> None:
    assert _table("Lamp", 1) == set(warning.PATTERNS)


def test_reset_causes() -> None:
    assert _table("Reset causes") - {"reset"} == set(memo.INTENTS) - {""} | {"power", "brownout", "watchdog", "console"}


def test_settings() -> None:
    named = {name.split(".")[0] for name in _table("Configure")}
    assert named == set(config._DEFAULTS) | {"furnace", "broker"}


def test_channels_are_those_of_the_host() -> None:
    analog = {name: unit for name, (unit, _) in channels.NUMERIC}
    assert analog == {c.name: c.unit for c in CHANNELS.values() if c.kind == "analog"}
    assert set(channels.SWITCHED) == {c.name for c in CHANNELS.values() if c.kind == "state"}


def test_limits_come_first() -> None:
    assert TEXT.index("## Limits first") < TEXT.index("## Flash")
    assert "not a safety device" in TEXT
