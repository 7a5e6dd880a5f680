"""What can go wrong, in trade words, and what puts it right."""

from collections.abc import Iterable
from dataclasses import dataclass

from sootline.channels import CHANNELS


@dataclass(frozen=True, slots=True)
class FaultKind:
    """One kind of fault: what happens, what `size` means and is when not given, and the action that repairs it."""

    name: str
    what: str
    size_means: str = ""
    size: float = 1.0
    repaired_by: str = "repair"
    on: tuple[str, ...] = ()  # the heaters or channels it must name; empty when it names none


_HEATERS = ("tank", "nozzle")
_ANY = tuple(CHANNELS)

_ALL = (
    FaultKind("air-leak", "air drawn in at the filter bowl: the pump runs, no oil comes", "share of the flow lost"),
    FaultKind("supply-closed", "supply valve closed or tank empty: the pump pulls vacuum, no oil comes"),
    FaultKind("filter-plugging", "filter resistance grows", "clean filters' worth added a day", 1.0, "change-filter"),
    FaultKind("cold-oil", "supply tank's surroundings colder than usual", "K below", 10.0),
    FaultKind("pump-relay-welded", "refill pump relay closed for good: the pump runs whatever float and limiter say"),
    FaultKind("pump-motor-dead", "refill pump energised but not turning"),
    FaultKind("float-stuck-down", "float hangs low: it calls for oil for ever"),
    FaultKind("float-stuck-up", "float hangs high: it never calls for oil"),
    FaultKind("float-chatter", "float rides on waves: it calls for sips of oil", "differential left, L", 0.05),
    FaultKind("loop-leak", "oil leaves the loop unburned", "L/h", 0.7),
    FaultKind("half-element", "one of two heating elements is open", on=_HEATERS),
    FaultKind("heater-open", "heating element, fuse or lead open: no heat", on=_HEATERS),
    FaultKind("ssr-shorted", "solid-state relay shorted: the heater heats whatever its drive says", on=_HEATERS),
    FaultKind("cut-out-tripped", "hand-reset over-temperature cut-out open", "", 1.0, "reset-cut-out", _HEATERS),
    FaultKind(
        "cut-out-weak", "over-temperature cut-out opens far too early", "°C at which it opens", 41.0, on=_HEATERS
    ),
    FaultKind("electrodes-worn", "spark weak: late light", "s added to the time to flame", 3.0, "change-electrodes"),
    FaultKind("no-ignition", "no spark: the oil does not light", "", 1.0, "change-electrodes"),
    FaultKind("flame-detector-dirty", "the detector does not see the flame that is there"),
    FaultKind("water-slug", "a slug of water puts the flame out at the next moment of burning"),
    FaultKind("compressor-sag", "atomising air pressure falls", "share of the pressure lost", 0.4),
    FaultKind("wrong-nozzle", "nozzle of another size fitted", "oil flow against the right one", 1.23, "change-nozzle"),
    FaultKind("belt-slip", "blower belt slips", "share of the air lost", 0.25),
    FaultKind("loop-pump-stopped", "no circulation: the nozzle is fed with oil at room temperature"),
    FaultKind("thermostat-shorted", "a short across the burner's thermostat terminals: it fires with no call"),
    FaultKind("thermostat-draught", "draught and warm supply air reach the thermostat", "K of the draught", 7.0),
    FaultKind("high-ash", "oil with more ash than analysed", "ash against the analysis", 2.0),
    FaultKind("power-off", "service switch or breaker off"),
    FaultKind("sensor-open", "sensor lead open", on=_ANY),
    FaultKind("sensor-short", "sensor leads shorted", on=_ANY),
    FaultKind("sensor-absent", "sensor does not answer", on=_ANY),
    FaultKind("sensor-crc", "sensor answers garbled", "share of the readings", 0.2, on=_ANY),
    FaultKind("sensor-frozen", "sensor repeats its last reading", on=_ANY),
    FaultKind("sensor-drift", "sensor wanders off", "units a day", 2.0, on=_ANY),
    FaultKind("sensor-spikes", "sensor jumps for single readings", "units", 80.0, on=_ANY),
)
FAULTS: dict[str, FaultKind] = {kind.name: kind for kind in _ALL}


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault from `start_ms` until `end_ms`, or until it is repaired.

    name: key of FAULTS; size: as the kind says, its default when None; channel: the heater or channel it is on
    Raises: ValueError for an unknown name, a missing or wrong channel, or an end before the start.
    """

    name: str
    start_ms: int
    end_ms: int | None = None
    size: float | None = None
    channel: str = ""

    def __post_init__(self) -> None:
        kind = FAULTS.get(self.name)
        if kind is None:
            raise ValueError(f"unknown fault {self.name!r}; known: {', '.join(FAULTS)}")
        if kind.on and self.channel not in kind.on:
            raise ValueError(f"fault {self.name!r} must name one of: {', '.join(kind.on)}")
        if not kind.on and self.channel:
            raise ValueError(f"fault {self.name!r} is not on a channel; leave {self.channel!r} out")
        if self.end_ms is not None and self.end_ms <= self.start_ms:
            raise ValueError(f"fault {self.name!r} ends before it starts")

    @property
    def amount(self) -> float:
        return FAULTS[self.name].size if self.size is None else self.size


class FaultBook:
    """Which faults stand at a moment."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = sorted(faults, key=lambda fault: (fault.start_ms, fault.name, fault.channel))
        self._standing: dict[tuple[str, str], Fault] = {}
        self.at(min((fault.start_ms for fault in self.faults), default=0) - 1)

    def at(self, t_ms: int) -> None:
        """Look up what stands at `t_ms`; of two of the same kind and place the later one counts."""
        self._standing = {
            (fault.name, fault.channel): fault
            for fault in self.faults
            if fault.start_ms <= t_ms and (fault.end_ms is None or t_ms < fault.end_ms)
        }

    def next_change(self, t_ms: int) -> int | None:
        """The next moment after `t_ms` at which a fault comes or goes."""
        moments = [m for f in self.faults for m in (f.start_ms, f.end_ms) if m is not None and m > t_ms]
        return min(moments, default=None)

    def on(self, name: str, channel: str = "") -> bool:
        return (name, channel) in self._standing

    def size(self, name: str, channel: str = "") -> float:
        """Size of the standing fault, 0.0 when it does not stand."""
        fault = self._standing.get((name, channel))
        return 0.0 if fault is None else fault.amount

    def standing(self) -> list[Fault]:
        return list(self._standing.values())

    def end(self, name: str, t_ms: int, channel: str = "") -> int:
        """End every standing fault of that kind (on that channel, when one is named); how many there were."""
        ended = 0
        for i, fault in enumerate(self.faults):
            stands = fault.start_ms <= t_ms and (fault.end_ms is None or fault.end_ms > t_ms)
            if fault.name == name and stands and channel in ("", fault.channel):
                end_ms = max(t_ms, fault.start_ms + 1)
                self.faults[i] = Fault(fault.name, fault.start_ms, end_ms, fault.size, fault.channel)
                ended += 1
                self._standing.pop((name, fault.channel), None)
        return ended
