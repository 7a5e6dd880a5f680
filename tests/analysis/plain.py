"""A plain loop for comparison: one small object per rule, each stepped with every row."""

from collections import deque
from collections.abc import Mapping, Sequence

from sootline.analysis.conditions import Condition, Level, Slope, Still
from sootline.analysis.glitch import MAY_CHANGE


class Above:
    """Level with hysteresis."""

    def __init__(self, rule: Level) -> None:
        self.channel, self.limit, self.clear = rule.channel, rule.limit, rule.clear
        self.sign = -1.0 if rule.below else 1.0
        self.holds = False
        self.marks = 0

    def step(self, t_ms: int, row: Mapping[str, float]) -> None:
        x = row.get(self.channel)
        if x is None or x != x:
            return
        if self.sign * x > self.sign * self.limit if not self.holds else self.sign * x <= self.sign * self.clear:
            self.holds = not self.holds
            self.marks += 1


class Changing:
    """Change over a window with hysteresis."""

    def __init__(self, rule: Slope) -> None:
        self.channel, self.window_ms, self.limit, self.clear = rule.channel, rule.window_ms, rule.limit, rule.clear
        self.sign = -1.0 if rule.below else 1.0
        self.past: deque[tuple[int, float]] = deque()
        self.holds = False
        self.marks = 0

    def step(self, t_ms: int, row: Mapping[str, float]) -> None:
        x = row.get(self.channel)
        if x is None or x != x:
            return
        past = self.past
        past.append((t_ms, x))
        while len(past) > 1 and past[1][0] <= t_ms - self.window_ms:
            past.popleft()
        if past[0][0] > t_ms - self.window_ms:
            return
        y = self.sign * (x - past[0][1])
        if y > self.sign * self.limit if not self.holds else y <= self.sign * self.clear:
            self.holds = not self.holds
            self.marks += 1


class Standing:
    """A reading that does not move."""

    def __init__(self, rule: Still) -> None:
        self.channel, self.span_ms = rule.channel, rule.span_ms
        self.since_ms: int | None = None
        self.last = 0.0
        self.holds = False
        self.marks = 0

    def step(self, t_ms: int, row: Mapping[str, float]) -> None:
        x = row.get(self.channel)
        if x is None or x != x:
            return
        if self.since_ms is None or x != self.last:
            self.since_ms, self.last = t_ms, x
            if self.holds:
                self.holds = False
                self.marks += 1
        elif not self.holds and t_ms - self.since_ms >= self.span_ms:
            self.holds = True
            self.marks += 1


class Switching:
    """Changes of an on/off channel."""

    def __init__(self, channel: str) -> None:
        self.channel = channel
        self.on: bool | None = None
        self.last_ms = 0
        self.marks = 0

    def step(self, t_ms: int, row: Mapping[str, float]) -> None:
        x = row.get(self.channel)
        if x is None or x != x:
            return
        on = x > 0.5
        if on != self.on or t_ms - self.last_ms > (15_000 if on else 180_000):
            self.marks += 1
        self.on, self.last_ms = on, t_ms


class Jumping:
    """Readings that agree with neither of the two before."""

    def __init__(self, channel: str) -> None:
        self.channel = channel
        self.at_once, self.per_s = MAY_CHANGE[channel]
        self.before: deque[tuple[int, float]] = deque(maxlen=2)
        self.marks = 0

    def step(self, t_ms: int, row: Mapping[str, float]) -> None:
        x = row.get(self.channel)
        if x is None or x != x:
            return
        if len(self.before) == 2 and all(
            abs(x - was) > self.at_once + self.per_s * (t_ms - at) / 1000 for at, was in self.before
        ):
            self.marks += 1
        self.before.append((t_ms, x))


Rule = Above | Changing | Standing | Switching | Jumping


def rules(conditions: Sequence[Condition], states: Sequence[str], channels: Sequence[str]) -> list[Rule]:
    """One object for each rule that the engine works through on the sample level with these channels."""
    made: list[Rule] = [Switching(name) for name in states]
    made += [Jumping(name) for name in channels if name in MAY_CHANGE]
    for condition in conditions:
        if condition.channel in channels:
            if isinstance(condition, Level):
                made.append(Above(condition))
            elif isinstance(condition, Slope):
                made.append(Changing(condition))
            else:
                made.append(Standing(condition))
    return made
