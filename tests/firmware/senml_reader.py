"""A plain reader of SenML as RFC 8428 section 4.6 resolves it, written for the tests alone."""

from typing import Any, NamedTuple


class Point(NamedTuple):
    t_s: float  # absolute, or relative to the pack
    name: str
    value: Any
    sum: float | None


def resolve(pack: list[dict[str, Any]]) -> list[Point]:
    """The records of one pack with base name and base time applied, names without the base."""
    base, base_time = "", 0.0
    points = []
    for record in pack:
        base = record.get("bn", base)
        base_time = record.get("bt", base_time)
        value = next((record[k] for k in ("v", "vb", "vs") if k in record), None)
        name = (base + record["n"]).split("/", 1)[1]
        points.append(Point(base_time + record.get("t", 0), name, value, record.get("s")))
    return points


def facts(pack: list[dict[str, Any]]) -> dict[str, Any]:
    """boot, seq and uptime of a pack."""
    return {p.name: p.value for p in resolve(pack) if p.name in ("boot", "seq", "uptime")}
