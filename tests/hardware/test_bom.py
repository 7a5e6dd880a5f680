"""The parts list covers what circuits, senses and probes use, names classes and ratings, and no brands."""

import re
from collections import Counter

from hardware.generate.checks import parts
from hardware.generate.load import CONSUMABLE, OPTIONAL, REFERENCE, STANDARD, Hardware, bom_uses

# Chip type names, board families, standards and trade terms that start with a capital; anything else would be a name.
CAPITALS = re.findall(
    r"\S+", "A AC B C CI CSA CTR DIN EN FET Fi Hz K M16 MELF MHz PSRAM PTFE Pico Rref UL V W WROOM Wi Wire X7R"
)


def test_no_problem_with_the_parts(hardware: Hardware) -> None:
    assert list(parts.problems(hardware)) == []


def test_quantities_are_counted_from_the_data(hardware: Hardware) -> None:
    uses = Counter(bom_uses(hardware))
    for row in hardware.bom.values():
        if row.build in (STANDARD, OPTIONAL):
            assert row.qty == uses[row.id]
            assert row.qty > 0
    assert set(uses) <= set(hardware.bom)


def test_the_required_channels_come_from_the_standard_build(hardware: Hardware) -> None:
    for bom_id in (
        "controller",
        "tc-converter",
        "rtd-converter",
        "probe-stack",
        "probe-nozzle",
        "probe-1wire",
        "cur-switch",
    ):
        assert hardware.bom[bom_id].build == STANDARD


def test_devices_on_mains_are_listed_and_the_co_alarm_is_in_the_list(hardware: Hardware) -> None:
    mains = {bom_id for sense in hardware.senses if sense["domain_in"] == "mains" for bom_id in sense["bom"]}
    assert mains >= {"cur-switch", "relay-iso"}
    for bom_id in mains | {"psu-5v", "co-alarm"}:
        assert hardware.bom[bom_id].safety_listed


def test_reference_parts_are_kept_apart(hardware: Hardware) -> None:
    uses = set(bom_uses(hardware))
    reference = {row.id for row in hardware.bom.values() if row.build == REFERENCE}
    assert reference
    assert not uses & reference


def test_every_row_has_a_class_a_rating_and_a_price(hardware: Hardware) -> None:
    for row in hardware.bom.values():
        assert row.cls
        assert row.rating
        assert 0 < row.usd_low <= row.usd_high
        assert row.build in (STANDARD, OPTIONAL, CONSUMABLE, REFERENCE)


def test_no_brand_or_maker_is_named(hardware: Hardware) -> None:
    """Every capitalised word inside a description is a known type name or trade term."""
    for row in hardware.bom.values():
        for text in (row.cls, row.rating, row.alternatives):
            for word in re.findall(r"(?<!^)\b[A-Z][A-Za-z0-9]*", text):
                assert word in CAPITALS, (row.id, word)
            assert not re.search(r"[®™©]|\b(Inc|Ltd|GmbH|Corp)\b|https?:", text)
