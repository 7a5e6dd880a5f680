"""Topic names: `<root>/<furnace>/<leaf>`."""

import re
from dataclasses import dataclass

ROOT = "sootline"
FURNACE_ID = re.compile(r"[a-z0-9][a-z0-9-]{0,31}")


@dataclass(frozen=True, slots=True)
class Topic:
    """One topic taken apart. `leaf` is what follows the furnace, e.g. `measurements` or `alarms/leak`."""

    furnace: str
    leaf: str


def parse(topic: str, root: str = ROOT) -> Topic | None:
    """The parts of a topic below `root`, or None when it is not one of ours."""
    prefix = root + "/"
    if not topic.startswith(prefix):
        return None
    furnace, slash, leaf = topic[len(prefix) :].partition("/")
    if not slash or not leaf or not FURNACE_ID.fullmatch(furnace):
        return None
    return Topic(furnace, leaf)


def build(furnace: str, leaf: str, root: str = ROOT) -> str:
    return f"{root}/{furnace}/{leaf}"


def alarm_leaf(alarm: str, channel: str | None) -> str:
    return f"alarms/{alarm}" if channel is None else f"alarms/{alarm}/{channel}"


def is_alarm(topic: str, root: str = ROOT) -> bool:
    """Whether a topic is one of those the host publishes alarms under."""
    place = parse(topic, root)
    return place is not None and place.leaf.startswith("alarms/")
