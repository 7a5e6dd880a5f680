"""The bank: what goes wrong, and what a practitioner reading the trees would say it is.

Written from the symptom trees of the trade, not from the code that ranks: each case names a fault of the furnace model
(or makes readings by hand where the model has no such fault), the alarm it ends in, and the cause that is true.
"""

from tests.causes.world import (
    Case,
    Happens,
    dead_control,
    loose_pump_wire,
    pump_unseen,
    soot_fire,
    wet_tray,
)

NO_OIL = ("air-leak", "supply-empty", "pump-dead")  # the pump ran and no dip followed: without suction or level all one


def _fault(name: str, after_h: float = 0.5, size: float | None = None, on: str = "", **more: object) -> Happens:
    return Happens(name, after_h, size, on, **more)  # type: ignore[arg-type]


def _deed(name: str, after_h: float, **details: object) -> Happens:
    return Happens(name, after_h, details=dict(details), deed=True)


def _creeping(name: str, start: float, a_day: float) -> tuple[Happens, ...]:
    """A fault that grows by the same amount every day for ten days."""
    return tuple(Happens(name, 24.0 * k + 0.5, start + a_day * (k + 1)) for k in range(10))


REFILLS = (
    Case("air-leak-shed", "refill-timeout", ("air-leak",), "shed", 1, (_fault("air-leak"),), 8, NO_OIL),
    Case("air-leak-shed-2", "refill-timeout", ("air-leak",), "shed", 2, (_fault("air-leak", 5.0),), 12, NO_OIL),
    Case("air-leak-shop", "refill-timeout", ("air-leak",), "shop", 3, (_fault("air-leak"),), 12, NO_OIL),
    Case("bowl-after-filter", "refill-timeout", ("air-leak",), "shed", 2, (_fault("air-leak", 3.0),), 10,
         log=((2.0, "filter"),)),
    Case("valve-shut-shed", "refill-timeout", ("supply-empty",), "shed", 1, (_fault("supply-closed", 2.0),), 8, NO_OIL),
    Case("valve-shut-shop", "refill-timeout", ("supply-empty",), "shop", 4, (_fault("supply-closed"),), 12, NO_OIL),
    Case("supply-out-shed", "refill-timeout", ("supply-empty",), "shed", 2,
         (_deed("supply-runs-out", 1.0),), 8, NO_OIL),
    Case("pump-dead-shed", "refill-timeout", ("pump-dead",), "shed", 2, (_fault("pump-motor-dead"),), 8, NO_OIL),
    Case("pump-dead-shop", "refill-timeout", ("pump-dead",), "shop", 3, (_fault("pump-motor-dead"),), 12, NO_OIL),
    Case("filter-full-shed", "refill-timeout", ("filter",), "shed", 1, (_fault("filter-plugging", size=1.1),), 170),
    Case("filter-full-shop", "refill-timeout", ("filter",), "shop", 4, (_fault("filter-plugging", size=3.0),), 216),
    Case("cold-oil-shed", "refill-timeout", ("cold-oil",), "shed", 2, (_fault("cold-oil", size=22.0),), 16),
    Case("cold-oil-shed-2", "refill-timeout", ("cold-oil",), "shed", 1, (_fault("cold-oil", 3.0, size=26.0),), 20),
    Case("float-down-shed", "refill-timeout", ("float-stuck-down",), "shed", 1, (_fault("float-stuck-down"),), 6),
    Case("float-down-shop", "refill-timeout", ("float-stuck-down",), "shop", 3, (_fault("float-stuck-down"),), 10),
    Case("float-up-shed", "refill-overdue", ("float-stuck-up",), "shed", 1, (_fault("float-stuck-up"),), 8),
    Case("float-up-shed-2", "refill-overdue", ("float-stuck-up",), "shed", 2, (_fault("float-stuck-up", 4.0),), 10),
    Case("float-up-shop", "refill-overdue", ("float-stuck-up",), "shop", 4, (_fault("float-stuck-up"),), 14),
    Case("never-reset-shed", "refill-overdue", ("latched-out",), "shed", 2, (_fault("air-leak", lasts_h=0.6),), 8),
    Case("never-reset-shop", "refill-overdue", ("latched-out",), "shop", 3, (_fault("supply-closed", lasts_h=4),), 14),
    Case("pump-unseen-shed", "refill-overdue", ("pump-sensing",), "shed", 1, (), 6, edit=pump_unseen),
    Case("pump-unseen-shop", "refill-overdue", ("pump-sensing",), "shop", 4, (), 14, edit=pump_unseen),
    Case("half-fire-shed", "refill-overdue", ("underfiring",), "shed", 1, (_fault("wrong-nozzle", size=0.5),), 8),
    Case("filter-slow-shed", "refill-slowing", ("filter",), "shed", 2, (_fault("filter-plugging", size=0.9),), 96),
    Case("filter-slow-shop", "refill-slowing", ("filter",), "shop", 3, (_fault("filter-plugging", size=2.2),), 144),
    Case("night-leak-shed", "refill-without-burning", ("loop-leak",), "shed", 1, (_fault("loop-leak", 14.0, 3.0),), 24),
    Case("night-leak-shed-2", "refill-without-burning", ("loop-leak",), "shed", 2, (_fault("loop-leak", 15, 2.2),), 24),
    Case("sips-shed", "float-chatter", ("float-waves",), "shed", 1, (_fault("float-chatter", size=0.05),), 8),
    Case("sips-shop", "float-chatter", ("float-waves",), "shop", 3, (_fault("float-chatter", size=0.012),), 10),
    Case("loose-wire-shed", "float-chatter", ("float-loose-wire",), "shed", 2, (), 6, edit=loose_pump_wire),
    Case("loop-leak-shed", "oil-use-high", ("leak",), "shed", 2, (_fault("loop-leak", size=1.0),), 48),
    Case("bigger-nozzle-use-shed", "oil-use-high", ("overfiring",), "shed", 1,
         (_fault("wrong-nozzle", size=1.25),), 48),
    Case("bigger-nozzle-use-shop", "oil-use-high", ("overfiring",), "shop", 4,
         (_fault("wrong-nozzle", size=1.25),), 72),
    Case("welded-shed", "pump-overrun", ("relay-welded",), "shed", 1, (_fault("pump-relay-welded"),), 6),
    Case("welded-shop", "pump-overrun", ("relay-welded",), "shop", 3, (_fault("pump-relay-welded"),), 12),
    Case("tray-after-weld", "leak", ("relay-welded",), "shed", 2, (_fault("pump-relay-welded", 1.0),), 6),
    Case("tray-from-loop", "leak", ("loop-leak",), "shed", 1, (_fault("loop-leak", 14.0, 3.0),), 24, edit=wet_tray),
)  # fmt: skip

HEATING = (
    Case("half-tank-shop", "preheat-slow/tank", ("half-element",), "shop", 3, (_fault("half-element", on="tank"),), 48),
    Case("half-tank-shop-2", "preheat-slow/tank", ("half-element",), "shop", 4,
         (_fault("half-element", on="tank"),), 48),
    Case("half-nozzle-shop", "preheat-slow/nozzle", ("half-element",), "shop", 3,
         (_fault("half-element", on="nozzle"),), 48),
    Case("low-mains-shop", "preheat-slow/tank", ("low-mains", "half-element"), "shop", 4,
         (_fault("half-element", on="tank"), _fault("half-element", on="nozzle")), 48),
    Case("open-tank-shop", "preheat-stalled/tank", ("element-open",), "shop", 3,
         (_fault("heater-open", on="tank"),), 36),
    Case("open-tank-shop-2", "preheat-stalled/tank", ("element-open",), "shop", 4,
         (_fault("heater-open", 7.0, on="tank"),), 36),
    Case("open-nozzle-shop", "preheat-stalled/nozzle", ("element-open",), "shop", 3,
         (_fault("heater-open", on="nozzle"),), 36),
    Case("cut-out-weak-shop", "preheat-stalled/tank", ("cut-out",), "shop", 4,
         (_fault("cut-out-weak", 0.02, 41.0, "tank", once_on="call", from_h=22.0),), 40, mean_C=4.0),
    Case("cut-out-weak-shop-2", "preheat-stalled/tank", ("cut-out",), "shop", 3,
         (_fault("cut-out-weak", 0.02, 45.0, "tank", once_on="call", from_h=23.0),), 40, mean_C=4.0),
    Case("relay-tank-shop", "heater-stuck-on/tank", ("relay-shorted",), "shop", 3,
         (_fault("ssr-shorted", 13.5, on="tank"),), 24),
    Case("relay-tank-shed", "heater-stuck-on/tank", ("relay-shorted",), "shed", 1,
         (_fault("ssr-shorted", 2.0, on="tank"),), 12),
    Case("relay-nozzle-shop", "heater-stuck-on/nozzle", ("relay-shorted",), "shop", 4,
         (_fault("ssr-shorted", 16.0, on="nozzle"),), 24),
    Case("relay-nozzle-shed", "heater-stuck-on/nozzle", ("relay-shorted",), "shed", 2,
         (_fault("ssr-shorted", 15.0, on="nozzle"),), 24),
    Case("relay-hot-shop", "oil-overtemperature/nozzle", ("relay-shorted",), "shop", 3,
         (_fault("ssr-shorted", 16.0, on="nozzle"),), 24),
    Case("relay-hot-shed", "oil-overtemperature/tank", ("relay-shorted",), "shed", 2,
         (_fault("ssr-shorted", 3.0, on="tank"),), 24),
)  # fmt: skip

FIRE = (
    Case("no-spark-shed", "ignition-failure", ("no-spark",), "shed", 1, (_fault("no-ignition"),), 20),
    Case("no-spark-shop", "ignition-failure", ("no-spark",), "shop", 3, (_fault("no-ignition"),), 30),
    Case("no-spark-after-late-shed", "ignition-failure", ("no-spark",), "shed", 2,
         (_fault("electrodes-worn", 0.5, 4.0), _fault("no-ignition", 30.0)), 54),
    Case("blind-detector-shed", "lockout", ("detector",), "shed", 2, (_fault("flame-detector-dirty", 13.0),), 36),
    Case("blind-detector-shop", "lockout", ("detector",), "shop", 4, (_fault("flame-detector-dirty", 14.0),), 40),
    Case("no-air-shed", "ignition-failure", ("air-pressure",), "shed", 1, (_fault("compressor-sag", 13.0, 0.75),), 36,
         branch=("no-spark", "no-oil", "air-pressure")),
    Case("no-air-shop", "ignition-failure", ("air-pressure",), "shop", 3, (_fault("compressor-sag", 14.0, 0.9),), 40,
         branch=("no-spark", "no-oil", "air-pressure")),
    Case("lockout-no-spark-shed", "lockout", ("no-spark",), "shed", 2, (_fault("no-ignition", 13.0),), 36),
    Case("lockout-detector-shop", "lockout", ("detector",), "shop", 3, (_fault("flame-detector-dirty", 14.0),), 40),
    Case("late-drift-shed", "ignition-delayed", ("electrode-wear",), "shed", 1,
         (_fault("electrodes-worn", 0.5, 1.5, lasts_h=24.0), _fault("electrodes-worn", 24.5, 3.0, lasts_h=24),
          _fault("electrodes-worn", 48.5, 5.0)), 84),
    Case("late-drift-shop", "ignition-delayed", ("electrode-wear",), "shop", 4,
         (_fault("electrodes-worn", 0.5, 1.8, lasts_h=24.0), _fault("electrodes-worn", 24.5, 3.0, lasts_h=24),
          _fault("electrodes-worn", 48.5, 6.0)), 96),
    Case("thick-at-nozzle-shed", "ignition-delayed", ("thick-oil",), "shed", 2,
         (_deed("set-point", 0.5, heater="nozzle", value_C=58.0),), 48),
    Case("water-shed", "flame-loss", ("water",), "shed", 1, (_fault("water-slug", 0.25, once_on="burner"),), 24),
    Case("water-shop", "flame-loss", ("water",), "shop", 3, (_fault("water-slug", 0.3, once_on="burner"),), 30),
    Case("water-new-batch-shed", "flame-loss", ("water",), "shed", 2,
         (_fault("water-slug", 0.3, once_on="burner"),), 24,
         log=((0.0, "batch"),)),
    Case("slug-at-refill-shed", "flame-loss", ("refill-slug",), "shed", 2,
         (_fault("water-slug", 0.02, once_on="pump"),), 12),
    Case("slug-at-refill-shop", "flame-loss", ("refill-slug",), "shop", 4,
         (_fault("water-slug", 0.02, once_on="pump"),), 30),
    Case("air-sags-shed", "flame-loss", ("air-pressure",), "shed", 1,
         (_fault("compressor-sag", 0.22, 0.7, once_on="burner"), _fault("water-slug", 0.05, once_on="the last")), 24,
         branch=("water", "detector", "air-pressure")),
    Case("detector-in-fire-shed", "flame-loss", ("detector",), "shed", 2,
         (_fault("flame-detector-dirty", 0.3, once_on="burner"),), 24, branch=("water", "detector")),
    Case("no-heat-lockout-shed", "no-heat", ("lockout",), "shed", 1, (_fault("no-ignition", 13.0),), 40),
    Case("no-heat-oil-shed", "no-heat", ("no-oil",), "shed", 2, (_fault("air-leak"),), 14),
    Case("no-heat-cold-shop", "no-heat", ("cold-oil",), "shop", 3, (_fault("heater-open", 12.0, on="tank"),), 40),
    Case("no-heat-control-shed", "no-heat", ("control",), "shed", 1, (), 20, edit=dead_control),
    Case("shorted-thermostat-shed", "heat-without-call", ("thermostat-shorted",), "shed", 1,
         (_fault("thermostat-shorted", 16.0),), 24),
    Case("shorted-thermostat-shop", "heat-without-call", ("thermostat-shorted",), "shop", 4,
         (_fault("thermostat-shorted", 15.0),), 24),
    Case("welded-primary-shed", "heat-without-call", ("relay-welded",), "shed", 2,
         (_fault("thermostat-shorted", 0.05, once_on="burner"),), 24),
    Case("soot-fire-shed", "heat-without-call", ("soot-fire",), "shed", 1, (), 24, edit=soot_fire,
         branch=("thermostat-shorted",)),
    Case("draught-shed", "short-cycling", ("thermostat",), "shed", 1, (_fault("thermostat-draught", 0.5, 7.0),), 24,
         branch=("flame-dropping",)),
    Case("draught-shop", "short-cycling", ("thermostat",), "shop", 3, (_fault("thermostat-draught", 0.5, 7.0),), 24),
    Case("limit-cycling-shed", "short-cycling", ("limit",), "shed", 2, (_fault("belt-slip", 0.5, 0.7),), 24,
         branch=("flame-dropping",)),
    Case("sag-shed", "air-pressure", ("compressor", "air-line", "regulator"), "shed", 1,
         (_fault("compressor-sag", 0.5, 0.39),), 12),
    Case("dead-compressor-shed", "air-pressure", ("compressor",), "shed", 2,
         (_fault("compressor-sag", 0.5, 0.95),), 24),
)  # fmt: skip

STACK = (
    Case("nozzle-hot-shed", "stack-high", ("overfired",), "shed", 1, (_fault("wrong-nozzle", 0.5, 1.6),), 20),
    Case("belt-hot-shed", "stack-high", ("blower",), "shed", 2, (_fault("belt-slip", 0.5, 0.7),), 20),
    Case("nozzle-step-shed", "stack-step", ("overfired",), "shed", 1, (_fault("wrong-nozzle", 0.5, 1.10),), 60),
    Case("nozzle-step-shop", "stack-step", ("overfired",), "shop", 3, (_fault("wrong-nozzle", 0.5, 1.15),), 84),
    Case("belt-step-shed", "stack-step", ("blower",), "shed", 2, (_fault("belt-slip", 0.5, 0.16),), 60,
         branch=("blower", "air-shutter")),
    Case("belt-step-shop", "stack-step", ("blower",), "shop", 4, (_fault("belt-slip", 0.5, 0.2),), 84,
         branch=("blower", "air-shutter")),
    Case("plugging-step-shed", "stack-step", ("nozzle-plugging",), "shed", 1, (_fault("wrong-nozzle", 0.5, 0.75),), 60),
    Case("plugging-step-shop", "stack-step", ("nozzle-plugging",), "shop", 4, (_fault("wrong-nozzle", 0.5, 0.7),), 84),
    Case("air-step-shed", "stack-step", ("air-pressure",), "shed", 2, (_fault("compressor-sag", 0.5, 0.4),), 60,
         branch=("air-pressure", "nozzle-plugging")),
    Case("nozzle-wears-shed", "stack-rising", ("nozzle-worn",), "shed", 2, _creeping("wrong-nozzle", 1.0, 0.022), 240),
    Case("dust-in-filters-shed", "stack-rising", ("air-filters",), "shed", 2, _creeping("belt-slip", 0.0, 0.024), 240,
         branch=("air-filters", "ash")),
    Case("ash-shed", "stack-rising", ("ash",), "shed", 1, (_fault("high-ash", 0.5, 14.0),), 168),
    Case("nozzle-low-shed", "stack-low", ("underfired",), "shed", 2, (_fault("wrong-nozzle", 0.5, 0.5),), 48),
    Case("air-low-shed", "stack-low", ("air-pressure",), "shed", 1, (_fault("compressor-sag", 0.5, 0.54),), 60,
         branch=("air-pressure", "underfired")),
    Case("overfiring-shed", "overfiring", ("wrong-nozzle",), "shed", 1, (_fault("wrong-nozzle", 0.5, 1.3),), 30),
    Case("overfiring-shop", "overfiring", ("wrong-nozzle",), "shop", 4, (_fault("wrong-nozzle", 0.5, 1.4),), 48),
    Case("overfiring-logged-shed", "overfiring", ("wrong-nozzle",), "shed", 2, (_fault("wrong-nozzle", 0.5, 1.25),), 30,
         log=((0.5, "nozzle"),)),
    Case("limit-belt-shed", "limit-open", ("belt",), "shed", 2, (_fault("belt-slip", 0.5, 0.6),), 24),
    Case("limit-belt-shop", "limit-open", ("belt",), "shop", 3, (_fault("belt-slip", 0.5, 0.65),), 48),
)  # fmt: skip

SENSORS = (
    Case("open-stack", "sensor-fault/stack", ("probe-open",), "shed", 1, (_fault("sensor-open", on="stack"),), 3),
    Case("short-tank", "sensor-fault/tank", ("probe-short",), "shed", 2, (_fault("sensor-short", on="tank"),), 3),
    Case("garbled-nozzle", "sensor-fault/nozzle", ("probe-noise",), "shed", 1,
         (_fault("sensor-crc", 0.5, 0.5, "nozzle"),), 3),
    Case("frozen-nozzle", "sensor-fault/nozzle", ("probe-frozen",), "shop", 3,
         (_fault("sensor-frozen", on="nozzle"),), 30),
    Case("bus-gone", "sensor-fault/tank", ("probe-bus",), "shed", 2,
         (_fault("sensor-absent", on="tank"), _fault("sensor-absent", on="nozzle")), 4),
)  # fmt: skip

CASES = (*REFILLS, *HEATING, *FIRE, *STACK, *SENSORS)
