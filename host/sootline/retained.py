"""The alarms the broker holds retained, kept in line with those that stand.

What the broker holds is learned from what it sends after each subscription, so that a restart of either side publishes
only what has changed meanwhile.
"""

from typing import Protocol

import msgspec

from sootline.alarms import Alarm
from sootline.lifecycle import AlarmList
from sootline.wire import topics
from sootline.wire.message import Message

WAIT_S = 1.0  # after subscribing, what the broker holds has come by then


class Publish(Protocol):
    def __call__(self, topic: str, payload: bytes, *, retain: bool) -> None: ...


class RetainedAlarms:
    """due_s: when what differs may be published, on the clock given to listen(); None while there is no need to wait"""

    def __init__(self, root: str) -> None:
        self._root = root
        self._held: dict[str, bytes] = {}
        self.due_s: float | None = None

    def forget(self) -> None:
        """A new connection: the broker will say what it holds."""
        self._held.clear()

    def listen(self, now_s: float) -> None:
        """The broker begins to say what it holds."""
        self.due_s = now_s + WAIT_S

    def heard(self, message: Message) -> None:
        """A message has come; it may be one the broker held."""
        if message.retained and topics.is_alarm(message.topic, self._root):
            self._held[message.topic] = message.payload

    def publish(self, alarms: AlarmList, now_s: float, send: Publish) -> None:
        """Send what differs: records of what stands, the last record and then nothing for what does not any more."""
        if self.due_s is not None and now_s < self.due_s:
            return
        self.due_s = None
        wanted = {self._topic(alarm): alarm for alarm in alarms.standing().values()}
        for topic, alarm in wanted.items():
            payload = msgspec.json.encode(alarm.record())
            if self._held.get(topic) != payload:
                send(topic, payload, retain=True)
                self._held[topic] = payload
        for topic in [topic for topic in self._held if topic not in wanted]:
            if self._held.pop(topic):
                same = [alarm for alarm in alarms.merged.values() if self._topic(alarm) == topic]
                if same:
                    last = max(same, key=lambda alarm: alarm.raised_ms)
                    send(topic, msgspec.json.encode(last.record()), retain=False)
                send(topic, b"", retain=True)

    def _topic(self, alarm: Alarm) -> str:
        return topics.build(alarm.furnace, topics.alarm_leaf(alarm.alarm, alarm.channel), self._root)
