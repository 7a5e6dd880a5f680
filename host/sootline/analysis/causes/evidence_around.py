"""Evidence from what stands around an alarm: other alarms, what the owner wrote down, switches, weather."""

from sootline.analysis.causes.scene import Finding, Scene, evidence


def _entered(scene: Scene, kind: str, days: float, what: str) -> Finding | None:
    """A log entry of late. Nothing written down says nothing: many do not write."""
    entry = scene.seen.entered(kind, scene.entry.raised_ms, days)
    if entry is None:
        return None
    hours = (scene.entry.raised_ms - entry.at_ms) / 3_600_000
    ago = f"{hours:.0f} h" if hours < 48 else f"{hours / 24:.0f} days"
    return Finding(True, f"{what} {ago} before")


def _state(scene: Scene, channel: str, on: str, off: str) -> Finding | None:
    state = scene.plant.state(channel)
    return None if state is None else Finding(state, on if state else off)


def _stands(scene: Scene, *alarms: str, hours: float = 1.0) -> Finding:
    other = scene.standing(*alarms, hours=hours)
    return Finding(
        other is not None, f"{other.alarm} at the same time" if other else f"no {alarms[0]} at the same time"
    )


@evidence("batch-entry", 0.08)
def batch_entry(scene: Scene) -> Finding | None:
    """A new batch of oil was written down in the 4 days before."""
    return _entered(scene, "batch", 4, "new batch of oil")


@evidence("nozzle-entry", 0.04)
def nozzle_entry(scene: Scene) -> Finding | None:
    """Work on the nozzle was written down in the 5 days before."""
    return _entered(scene, "nozzle", 5, "nozzle changed")


@evidence("shutter-entry", 0.04)
def shutter_entry(scene: Scene) -> Finding | None:
    """The air shutter was moved in the 5 days before."""
    return _entered(scene, "shutter", 5, "air shutter moved")


@evidence("blower-entry", 0.04)
def blower_entry(scene: Scene) -> Finding | None:
    """Work on the blower was written down in the 5 days before."""
    return _entered(scene, "blower", 5, "work on the blower")


@evidence("filter-entry", 0.05)
def filter_entry(scene: Scene) -> Finding | None:
    """The oil filter was opened in the 3 days before: a bowl that does not seal draws air."""
    return _entered(scene, "filter", 3, "oil filter opened")


@evidence("electrodes-entry", 0.04)
def electrodes_entry(scene: Scene) -> Finding | None:
    """Work on the electrodes was written down in the 3 days before."""
    return _entered(scene, "electrodes", 3, "electrodes worked on")


@evidence("setpoint-entry", 0.04)
def setpoint_entry(scene: Scene) -> Finding | None:
    """A set point was changed in the 2 days before."""
    return _entered(scene, "setpoint", 2, "set point changed")


@evidence("service-entry", 0.08)
def service_entry(scene: Scene) -> Finding | None:
    """Somebody worked on the furnace in the day before."""
    return _entered(scene, "service", 1, "service") or _entered(scene, "repair", 1, "repair")


@evidence("refill-trouble", 0.06)
def refill_trouble(scene: Scene) -> Finding | None:
    """A refill fault stands, or the day tank has run low: the oil is missing, whatever else is seen."""
    low = scene.plant.state("low_level")
    if low is not None and scene.plant.tank_low():
        return Finding(True, "the day tank has run low")
    return _stands(scene, "refill-timeout", "refill-overdue", hours=0.0)


@evidence("low-level", 0.05)
def low_level(scene: Scene) -> Finding | None:
    """The low-level switch of the day tank is on."""
    return _state(scene, "low_level", "low-level switch on", "low-level switch off")


@evidence("preheat-trouble", 0.08)
def preheat_trouble(scene: Scene) -> Finding | None:
    """A preheat alarm stands."""
    return _stands(scene, "preheat-stalled", "preheat-slow", hours=0.0)


@evidence("flame-lost", 0.08)
def flame_lost(scene: Scene) -> Finding | None:
    """The flame had been lost in the 2 h before."""
    found = _stands(scene, "flame-loss", hours=2.0)
    blind = not scene.plant.has("burner") and not scene.plant.has("call")
    return None if blind and not found.holds else found


@evidence("ignition-trouble", 0.1)
def ignition_trouble(scene: Scene) -> Finding | None:
    """A start failed in the 3 h before, or the primary control has locked out.

    Without the burner's contact a failed start is warm oil and no fire: a control that does nothing looks the same.
    """
    if not scene.plant.has("burner"):
        found = _stands(scene, "lockout", hours=3.0)
        return found if found.holds or scene.plant.has("lockout") else None
    return _stands(scene, "ignition-failure", "lockout", hours=3.0)


@evidence("locked-out", 0.6)
def locked_out(scene: Scene) -> Finding | None:
    """The primary control's contact says that it has locked out, now or since heat has been waited for."""
    if not scene.plant.has("lockout") or scene.now_ms - scene.entry.raised_ms > 3 * 3_600_000:
        return None
    since_ms = scene.entry.raised_ms - round((scene.number("waiting_min") or 5) * 60_000)
    locked = (
        scene.plant.state("lockout") or (scene.plant.history.window("lockout", since_ms, scene.now_ms)[1] > 0.5).any()
    )
    return Finding(bool(locked), "primary control locked out" if locked else "primary control has not locked out")


@evidence("lit-late", 0.06)
def lit_late(scene: Scene) -> Finding | None:
    """It had lit late in the two weeks before, or the last flames came 2 s later than usual."""
    other = scene.standing("ignition-delayed", hours=14 * 24)
    if other is not None:
        return Finding(True, "it had been lighting late")
    last, usual = scene.last("to_flame_s", 3), scene.usual("to_flame_s")
    if last is None or usual is None:
        return None
    return Finding(last - usual > 2.0, f"last flames after {last:.0f} s, usual {usual:.0f} s")


@evidence("limit-opened", 0.05)
def limit_opened(scene: Scene) -> Finding | None:
    """The high limit has opened in the last hours of firing."""
    if not scene.plant.has("limit"):
        return None
    opened = scene.plant.history.window("limit", scene.now_ms - 2 * 3_600_000, scene.now_ms)[1]
    holds = bool((opened > 0.5).any()) or any(burn.limited for burn in scene.seen.burns)
    return Finding(holds, "high limit opened" if holds else "high limit stayed closed")


@evidence("power-off", 0.03)
def power_off(scene: Scene) -> Finding | None:
    """No mains after the service switch."""
    state = scene.plant.state("power")
    return None if state is None else Finding(not state, "mains present" if state else "no mains after the switch")


@evidence("circulation-off", 0.04)
def circulation_off(scene: Scene) -> Finding | None:
    """The oil loop pump stood still where it usually runs: in the fire that was lost or not lit, or while it heats."""
    heats = scene.entry.alarm.startswith("preheat")
    usual = scene.usual("loop_heating" if heats else "loop_firing")
    tried = scene.plant.state("burner") is True or bool(scene.fire.on)
    lost_ms = scene.fire.last_end_ms
    if heats or tried:
        running = scene.plant.state("circulation")
    elif lost_ms is not None and scene.now_ms - lost_ms < 3_600_000:
        at = scene.plant.history.at("circulation", lost_ms - 10_000)
        running = None if at is None else at > 0.5
    else:
        return None
    if running is None or usual is None or usual < 0.5:
        return None
    return Finding(not running, "oil loop pump ran" if running else "oil loop pump stood still")


@evidence("leak-wet", 0.05)
def leak_wet(scene: Scene) -> Finding | None:
    """The drip tray is wet, or was of late."""
    if not scene.plant.has("leak"):
        return None
    wet = scene.plant.state("leak") is True or scene.standing("leak", hours=48.0) is not None
    return Finding(wet, "drip tray wet" if wet else "drip tray dry")


@evidence("overfull", 0.03)
def overfull(scene: Scene) -> Finding | None:
    """The day tank stands above full, by its switch or its level, or has since the alarm."""
    since_ms = max(scene.entry.raised_ms - 60_000, scene.now_ms - 3 * 3_600_000)
    high = scene.plant.history.window("high_level", since_ms, scene.now_ms)[1]
    level = scene.plant.history.window("tank_level", since_ms, scene.now_ms)[1]
    if not len(high) and not len(level):
        return None
    holds = bool((high > 0.5).any()) or bool((level > 1.04).any())
    return Finding(holds, "day tank above full" if holds else "day tank not above full")


@evidence("mild-day", 0.25)
def mild_day(scene: Scene) -> Finding | None:
    """Outdoors above 10 °C: any furnace is oversized then."""
    outdoor = scene.plant.value("outdoor")
    return None if outdoor is None else Finding(outdoor > 10.0, f"outdoor {outdoor:.0f} °C")


@evidence("overrun-known", 0.04)
def overrun_known(scene: Scene) -> Finding | None:
    """The refill pump has run past its limit, or past the float."""
    return _stands(scene, "pump-overrun", hours=2.0)


@evidence("use-high", 0.06)
def use_high(scene: Scene) -> Finding | None:
    """More oil is used than burned."""
    return _stands(scene, "oil-use-high", "refill-without-burning", hours=72.0)


@evidence("no-fire", 0.3)
def no_fire(scene: Scene) -> Finding | None:
    """The furnace cannot heat: an alarm for it stands, or has since the hour before."""
    age_h = (scene.now_ms - scene.entry.raised_ms) / 3_600_000  # once it heats again the room still has to recover
    return _stands(
        scene, "no-heat", "lockout", "ignition-failure", "refill-timeout", "refill-overdue", "preheat-stalled",
        "limit-open", hours=age_h + 1.0,
    )  # fmt: skip


@evidence("not-called", 0.3)
def not_called(scene: Scene) -> Finding | None:
    """The thermostat does not call."""
    call = scene.plant.state("call")
    return None if call is None else Finding(not call, "thermostat calls" if call else "thermostat does not call")
