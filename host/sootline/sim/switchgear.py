"""Everything that switches: contacts, limiter, primary control and flame, wired together as on the furnace."""

import random

from sootline.channels import STATES
from sootline.sim.controls import Contact, Permits, PrimaryControl, RefillLimiter
from sootline.sim.faults import FaultBook
from sootline.sim.plant import State, tank_volume_l
from sootline.sim.spec import FurnaceSpec
from sootline.sim.surroundings import Surroundings
from sootline.sim.truth import PhaseName

READY_BELOW_K, LOST_BELOW_K = 4.0, 15.0  # oil hot enough to start; too cold to go on
FAN_ON_C, FAN_OFF_C = 60.0, 32.0
LIMIT_OPENS_C, LIMIT_CLOSES_C = 88.0, 72.0
LEVEL_DIFFERENTIAL_L = 0.15
LEAK_SEEN_L = 0.1
FLOAT_SCATTER = 0.015  # of the differential, each time
LIGHT_SCATTER_S, LEAST_LIGHT_S = 0.3, 0.6
THICK_MM2_S, THICK_S_PER_MM2_S = 20.0, 0.08  # cold oil: large drops, late light
FAILING_PRESSURE = 0.45  # below this share of its pressure the nozzle sprays no mist that lights
_NEVER_OPENS = -1e9  # hand reset


class Switchgear:
    """Holds the positions; `settle` moves them until nothing moves any more."""

    def __init__(self, spec: FurnaceSpec, faults: FaultBook, rng: random.Random) -> None:
        self.spec, self.faults, self.rng = spec, faults, rng
        self.limiter = RefillLimiter(spec.limit_s)
        self.primary = PrimaryControl(spec.purge_s, spec.trial_s, spec.recycle_s, spec.recycles)
        self.setpoint_C = {"tank": spec.tank.setpoint_C, "nozzle": spec.nozzle.setpoint_C}
        self.flame = False
        self.light_ms: int | None = None
        self.light_s = 0.0
        self.switch_on = True
        self.outputs: dict[str, bool] = dict.fromkeys(STATES, False)
        down = spec.tank_volume_l - spec.differential_l
        self.float = Contact(down, spec.tank_volume_l)
        self.low = Contact(spec.low_level_l, spec.low_level_l + LEVEL_DIFFERENTIAL_L)
        self.high = Contact(spec.high_level_l, spec.high_level_l - LEVEL_DIFFERENTIAL_L)
        self.tray = Contact(LEAK_SEEN_L, 0.5 * LEAK_SEEN_L)
        self.fan = Contact(FAN_ON_C, FAN_OFF_C)
        self.limit = Contact(LIMIT_OPENS_C, LIMIT_CLOSES_C)
        self.room = Contact(0.0, 1.0)
        self.heat = {name: Contact(0.0, 1.0) for name in ("tank", "nozzle")}
        self.ready = {name: Contact(1.0, 0.0) for name in ("tank", "nozzle")}
        self.tripped = {
            "tank": Contact(spec.tank.cutout_C, _NEVER_OPENS),
            "nozzle": Contact(spec.nozzle.cutout_C, _NEVER_OPENS),
        }
        self._contacts = (
            self.float,
            self.low,
            self.high,
            self.tray,
            self.heat["tank"],
            self.ready["tank"],
            self.tripped["tank"],
            self.heat["nozzle"],
            self.ready["nozzle"],
            self.tripped["nozzle"],
            self.fan,
            self.limit,
            self.room,
        )

    def _watched(self, s: State) -> tuple[float, ...]:
        """What each contact looks at, in the order of the contacts."""
        volume_l, tank_C, nozzle_C = tank_volume_l(s), s.tank_probe_C, s.nozzle_probe_C
        return (
            volume_l,
            volume_l,
            volume_l,
            s.tray_l,
            tank_C,
            tank_C,
            s.tank_C,
            nozzle_C,
            nozzle_C,
            s.block_C,
            s.plenum_C,
            s.plenum_C,
            s.bulb_C,
        )

    def crossing(self, before: State, after: State) -> float:
        """Share of the step at which the first contact moves; 2.0 when none does."""
        first = 2.0
        for contact, old, new in zip(self._contacts, self._watched(before), self._watched(after), strict=True):
            if contact.moves(new) != contact.closed:
                first = min(first, contact.crossing(old, new))
        return first

    def restless(self, s: State) -> bool:
        """A contact is about to move."""
        return any(c.moves(value) != c.closed for c, value in zip(self._contacts, self._watched(s), strict=True))

    def settle(self, t_ms: int, s: State, around: Surroundings) -> None:
        """Bring every contact, control and output to where it belongs at `t_ms`."""
        for _ in range(20):
            before = (dict(self.outputs), self.primary.stage, self.primary.due_ms, self.light_ms)
            self._set_thresholds(around)
            self._follow(s)
            self._control(t_ms)
            self._burn(t_ms, s, around)
            self._set_outputs()
            if before == (self.outputs, self.primary.stage, self.primary.due_ms, self.light_ms):
                return

    def next_due(self, t_ms: int) -> int:
        """The next moment after `t_ms` at which a timer runs out (far away when none runs)."""
        due = [self.primary.due_ms, self.light_ms, self.limiter.until_ms if self.limiter.running else None]
        return min((moment for moment in due if moment is not None and moment > t_ms), default=1 << 62)

    def _set_thresholds(self, around: Surroundings) -> None:
        half = 0.5 * self.spec.building.differential_K
        self.room.closes_at, self.room.opens_at = around.thermostat_C - half, around.thermostat_C + half
        for name, heater in (("tank", self.spec.tank), ("nozzle", self.spec.nozzle)):
            middle = self.setpoint_C[name]
            self.heat[name].closes_at = middle - 0.5 * heater.band_K
            self.heat[name].opens_at = middle + 0.5 * heater.band_K
            self.tripped[name].closes_at = self.faults.size("cut-out-weak", name) or heater.cutout_C
            self.ready[name].closes_at, self.ready[name].opens_at = middle - READY_BELOW_K, middle - LOST_BELOW_K
        if sip_l := self.faults.size("float-chatter"):
            self.float.opens_at = self.float.closes_at + sip_l
        elif self.float.opens_at - self.float.closes_at < 0.5 * self.spec.differential_l:
            self.float.opens_at = self.spec.tank_volume_l

    def _follow(self, s: State) -> None:
        for contact, value in zip(self._contacts, self._watched(s), strict=True):
            if contact.follow(value) and contact is self.float:
                self._scatter_float()

    def _scatter_float(self) -> None:
        """No float switches twice at quite the same level: draw the level of the next change."""
        scatter_l = self.rng.gauss(0.0, FLOAT_SCATTER * self.spec.differential_l)
        if self.float.closed:
            self.float.opens_at = self.spec.tank_volume_l + scatter_l
        else:
            self.float.closes_at = self.spec.tank_volume_l - self.spec.differential_l + scatter_l

    @property
    def power(self) -> bool:
        return self.switch_on and not self.faults.on("power-off")

    @property
    def float_calls(self) -> bool:
        if self.faults.on("float-stuck-down"):
            return True
        return self.float.closed and not self.faults.on("float-stuck-up")

    @property
    def heat_wanted(self) -> bool:
        """Call as the burner sees it."""
        return self.power and (self.room.closed or self.faults.on("thermostat-shorted"))

    @property
    def oil_heated(self) -> bool:
        """The heaters' controls are live."""
        return self.power and (self.spec.heating == "keep-warm" or self.heat_wanted)

    @property
    def oil_ready(self) -> bool:
        return self.ready["tank"].closed and self.ready["nozzle"].closed and not self.low.closed

    def _control(self, t_ms: int) -> None:
        self.limiter.update(t_ms, self.float_calls, self.power)
        permits = Permits(self.heat_wanted, self.power, self.oil_ready, self.limit.closed, self._seen_flame())
        self.primary.update(t_ms, permits)

    def _seen_flame(self) -> bool:
        return self.flame and not self.faults.on("flame-detector-dirty")

    def _burn(self, t_ms: int, s: State, around: Surroundings) -> None:
        if not self.primary.oil_valve or tank_volume_l(s) < 0.1:
            self.flame, self.light_ms = False, None
        elif self.flame and self.faults.on("water-slug"):
            self.flame = False
            self.faults.end("water-slug", t_ms)
        elif self.primary.stage == "ignition" and not self.flame:
            if self.light_ms is None:
                self.light_s = self._draw_light_s(around)
                self.light_ms = t_ms + round(1000 * self.light_s)
            elif t_ms >= self.light_ms and self._lights(around):
                self.flame, self.light_ms = True, None

    def _draw_light_s(self, around: Surroundings) -> float:
        """Seconds from oil to flame."""
        thick = max(0.0, around.nozzle_mm2_s - THICK_MM2_S) * THICK_S_PER_MM2_S
        lit = self.spec.light_s + self.rng.gauss(0.0, LIGHT_SCATTER_S)
        return max(LEAST_LIGHT_S, lit) + thick + self.faults.size("electrodes-worn")

    def _lights(self, around: Surroundings) -> bool:
        return not self.faults.on("no-ignition") and 1.0 - self.faults.size("compressor-sag") > FAILING_PRESSURE

    def _set_outputs(self) -> None:
        power, heated = self.power, self.oil_heated
        self.outputs.update(
            pump=power and (self.limiter.running or self.faults.on("pump-relay-welded")),
            float=self.float_calls,
            refill_lockout=self.limiter.latched,
            call=power and self.room.closed,
            burner=self.primary.motor,
            flame=self._seen_flame(),
            lockout=self.primary.stage == "lockout",
            limit=self.limit.closed,
            tank_heater=heated and self.heat["tank"].closed and not self.low.closed,
            nozzle_heater=heated and self.heat["nozzle"].closed,
            low_level=self.low.closed,
            high_level=self.high.closed,
            leak=self.tray.closed,
            circulation=heated and not self.faults.on("loop-pump-stopped"),
            blower=power and self.fan.closed,
            power=power,
        )

    def heater_W(self, name: str) -> float:
        """Electric power of a heater as it really flows."""
        heater = self.spec.tank if name == "tank" else self.spec.nozzle
        driven = self.outputs[f"{name}_heater"] or self.faults.on("ssr-shorted", name)
        broken = self.tripped[name].closed or any(self.faults.on(f, name) for f in ("cut-out-tripped", "heater-open"))
        if not (self.power and driven) or broken:
            return 0.0
        return heater.power_W * (heater.half_share if self.faults.on("half-element", name) else 1.0)

    def phase(self) -> PhaseName:
        """What the furnace is doing, in the words of the contract's phases."""
        if not self.power:
            return "off"
        if self.primary.stage != "standby":
            return self.primary.stage
        if self.fan.closed:
            return "cool-down"
        return "preheat" if self.oil_heated and not self.oil_ready else "standby"
