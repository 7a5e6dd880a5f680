"""What really happened, written down while the model runs."""

from dataclasses import dataclass, field
from typing import Literal

PhaseName = Literal[
    "off", "standby", "preheat", "purge", "ignition", "firing", "recycle", "limit", "cool-down", "lockout"
]


@dataclass(frozen=True, slots=True)
class Phase:
    start_ms: int
    end_ms: int
    phase: PhaseName


@dataclass(frozen=True, slots=True)
class Firing:
    """Flame from start to end; `light_s` from oil on to flame; `oil_kg` burned."""

    start_ms: int
    end_ms: int
    light_s: float
    oil_kg: float


@dataclass(frozen=True, slots=True)
class Refill:
    """One run of the refill pump. `interval_s` since the start of the run before (None for the first), `burned_kg` of
    oil burned in between; `full` when the float ended it; `oil_C` of the oil pumped."""

    start_ms: int
    end_ms: int
    delivered_l: float
    interval_s: float | None
    burned_kg: float
    full: bool
    oil_C: float


@dataclass(frozen=True, slots=True)
class Preheat:
    """A heater bringing its oil up from more than 10 K below; `done` when it got there, else it was cut short."""

    channel: str
    start_ms: int
    end_ms: int
    start_C: float
    end_C: float
    done: bool


@dataclass(frozen=True, slots=True)
class FaultInterval:
    name: str
    channel: str
    start_ms: int
    end_ms: int


@dataclass(frozen=True, slots=True)
class StackRise:
    """Steady stack above the clean furnace, other things equal, at a moment."""

    t_ms: int
    rise_K: float


@dataclass(frozen=True, slots=True)
class Truth:
    """Phases without gaps; firings, refills, preheats that ended; stack rise by the hour; faults; (t_ms, action)."""

    phases: tuple[Phase, ...] = ()
    firings: tuple[Firing, ...] = ()
    refills: tuple[Refill, ...] = ()
    preheats: tuple[Preheat, ...] = ()
    stack_rise_K: tuple[StackRise, ...] = ()
    faults: tuple[FaultInterval, ...] = ()
    actions: tuple[tuple[int, str], ...] = ()


@dataclass(slots=True)
class Diary:
    """The open ends of the truth, closed as they end."""

    start_ms: int
    phases: list[Phase] = field(default_factory=list)
    firings: list[Firing] = field(default_factory=list)
    refills: list[Refill] = field(default_factory=list)
    preheats: list[Preheat] = field(default_factory=list)
    stack_rise_K: list[StackRise] = field(default_factory=list)
    actions: list[tuple[int, str]] = field(default_factory=list)
    _phase: tuple[int, PhaseName] | None = None
    _flame: tuple[int, float, float] | None = None
    _pump: tuple[int, float, float] | None = None
    _last_refill: tuple[int, float] | None = None
    _preheat: dict[str, tuple[int, float]] = field(default_factory=dict)

    def phase(self, t_ms: int, name: PhaseName) -> None:
        if self._phase is None:
            self._phase = (t_ms, name)
        elif self._phase[1] != name:
            start_ms, old = self._phase
            if t_ms > start_ms:
                self.phases.append(Phase(start_ms, t_ms, old))
            self._phase = (t_ms, name)

    def flame(self, t_ms: int, on: bool, light_s: float, burned_kg: float) -> None:
        if on and self._flame is None:
            self._flame = (t_ms, light_s, burned_kg)
        elif not on and self._flame is not None:
            start_ms, light_s, before_kg = self._flame
            self.firings.append(Firing(start_ms, t_ms, light_s, burned_kg - before_kg))
            self._flame = None

    def pump(self, t_ms: int, on: bool, pumped_l: float, burned_kg: float, full: bool, oil_C: float) -> None:
        if on and self._pump is None:
            self._pump = (t_ms, pumped_l, burned_kg)
        elif not on and self._pump is not None:
            start_ms, before_l, before_kg = self._pump
            interval_s, since_kg = None, before_kg
            if self._last_refill is not None:
                interval_s, since_kg = (start_ms - self._last_refill[0]) / 1000.0, before_kg - self._last_refill[1]
            self.refills.append(Refill(start_ms, t_ms, pumped_l - before_l, interval_s, since_kg, full, oil_C))
            self._last_refill, self._pump = (start_ms, before_kg), None

    def preheat(
        self, t_ms: int, channel: str, heating: bool, ready: bool, temperature_C: float, wanted_C: float
    ) -> None:
        begun = self._preheat.get(channel)
        if begun is None and heating and not ready and temperature_C < wanted_C - 10.0:
            self._preheat[channel] = (t_ms, temperature_C)
        elif begun is not None and (ready or not heating):
            del self._preheat[channel]
            self.preheats.append(Preheat(channel, begun[0], t_ms, begun[1], temperature_C, ready))

    def rise(self, t_ms: int, rise_K: float) -> None:
        self.stack_rise_K.append(StackRise(t_ms, rise_K))

    def truth(self, t_ms: int, faults: tuple[FaultInterval, ...]) -> Truth:
        """Everything so far; the phase still running ends at `t_ms`."""
        phases = list(self.phases)
        if self._phase is not None and t_ms > self._phase[0]:
            phases.append(Phase(self._phase[0], t_ms, self._phase[1]))
        return Truth(
            tuple(phases),
            tuple(self.firings),
            tuple(self.refills),
            tuple(self.preheats),
            tuple(self.stack_rise_K),
            faults,
            tuple(self.actions),
        )
