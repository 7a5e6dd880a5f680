"""Evidence from steady firings: stack, warm air, draft; steps and their sign."""

from sootline.analysis.causes.scene import Finding, Scene, evidence


def _compared(scene: Scene, feature: str, unit: str, what: str, up: float, by: float) -> Finding | None:
    """Whether a steady feature has grown by the factor `up` and by the amount `by`."""
    change = scene.change(feature)
    if change is None:
        return None
    now, usual = change
    return Finding(now > up * usual and now > usual + by, f"{what} {now:.0f} {unit}, usual {usual:.0f} {unit}")


@evidence("stack-up", 0.12)
def stack_up(scene: Scene) -> Finding | None:
    """Steady net stack at least 8 K above its usual."""
    return _compared(scene, "stack_net_K", "K", "net stack", 1.0, 8.0)


@evidence("stack-down", 0.1)
def stack_down(scene: Scene) -> Finding | None:
    """Steady net stack at least 10 K below its usual."""
    change = scene.change("stack_net_K")
    if change is None:
        return None
    return Finding(change[0] < change[1] - 10.0, f"net stack {change[0]:.0f} K, usual {change[1]:.0f} K")


@evidence("air-rise-up", 0.1)
def air_rise_up(scene: Scene) -> Finding | None:
    """The warm air rises at least 8 % and 3 K more than usual through the furnace: too little of it moves."""
    return _compared(scene, "supply_rise_K", "K", "warm-air rise", 1.08, 3.0)


@evidence("stack-warm", 0.15)
def stack_warm(scene: Scene) -> Finding | None:
    """The stack is warmer than the air although nothing has burned for an hour: oil smoulders in the chamber."""
    fire, stack = scene.fire, scene.plant.value("stack")
    if fire.on is not False or fire.last_end_ms is None or scene.now_ms - fire.last_end_ms < 5_400_000 or stack is None:
        return None
    above = stack - fire.air_C()
    return Finding(above > 25.0, f"stack {above:.0f} K over the air, no fire for long")


@evidence("return-hot", 0.1)
def return_hot(scene: Scene) -> Finding | None:
    """Return air at least 6 K warmer than usual."""
    return _compared(scene, "return_C", "°C", "return air", 0.0, 6.0)


@evidence("return-cold", 0.12)
def return_cold(scene: Scene) -> Finding | None:
    """Return air at least 5 K colder than usual."""
    change = scene.change("return_C")
    if change is None:
        return None
    return Finding(change[0] < change[1] - 5.0, f"return air {change[0]:.0f} °C, usual {change[1]:.0f} °C")


@evidence("draft-drop-up", 0.12)
def draft_drop_up(scene: Scene) -> Finding | None:
    """The draft lost across the heat exchanger has grown by 30 %: deposits in the gas path."""
    return _compared(scene, "draft_drop_Pa", "Pa", "draft lost across the exchanger", 1.3, 1.0)


@evidence("draft-weak", 0.1)
def draft_weak(scene: Scene) -> Finding | None:
    """The breech draft is a third weaker than usual."""
    change = scene.change("draft_Pa")
    if change is None or change[1] > -3.0:
        return None
    return Finding(change[0] > 0.67 * change[1], f"breech draft {change[0]:.0f} Pa, usual {change[1]:.0f} Pa")


@evidence("draft-strong", 0.1)
def draft_strong(scene: Scene) -> Finding | None:
    """The breech draft is a third stronger than usual: the draft regulator may be stuck shut."""
    change = scene.change("draft_Pa")
    if change is None or change[1] > -3.0:
        return None
    return Finding(change[0] < 1.33 * change[1], f"breech draft {change[0]:.0f} Pa, usual {change[1]:.0f} Pa")


@evidence("ash-known", 0.2)
def ash_known(scene: Scene) -> Finding | None:
    """The stack had been rising for weeks before."""
    other = scene.standing("stack-rising", hours=24.0)
    return Finding(other is not None, "the stack had been rising for weeks" if other else "no slow rise known before")


@evidence("step-known", 0.12)
def step_known(scene: Scene) -> Finding | None:
    """The stack had jumped in the 6 days before."""
    other = scene.standing("stack-step", hours=6 * 24)
    return Finding(other is not None, "the stack jumped not long before" if other else "no jump of the stack before")


@evidence("step-up", 0.55)
def step_up(scene: Scene) -> Finding | None:
    """The step is upwards."""
    step = scene.number("step_K")
    return None if step is None else Finding(step > 0, f"stack {step:+.0f} K from one firing to the next")


AIR_SHARE = 0.04  # of the warm-air rise: two points of efficiency, or a twentieth more or less oil


def _air_step(scene: Scene) -> tuple[float, float, float] | None:
    """(step of the stack, of the warm-air rise, usual warm-air rise) [K]; None where one is not measured."""
    step, air_step, usual = scene.number("step_K"), scene.number("supply_air_step_K"), scene.usual("supply_rise_K")
    return None if step is None or air_step is None or not usual or usual < 5.0 else (step, air_step, usual)


@evidence("warm-air-same", 0.35)
def warm_air_same(scene: Scene) -> Finding | None:
    """The warm air did not step with the stack: nothing has changed in the fire, unless its parts made up for it."""
    steps = _air_step(scene)
    if steps is None:
        return None
    holds = abs(steps[1]) < AIR_SHARE * steps[2]
    return Finding(holds, f"warm-air rise {steps[1]:+.1f} K of {steps[2]:.0f} K{', the same' if holds else ''}")


@evidence("warm-air-opposes", 0.15)
def warm_air_opposes(scene: Scene) -> Finding | None:
    """The warm air stepped the other way: with the same oil, what the flue lost the air got. Combustion air does that.

    More oil, or less, moves both the same way; so does a blower that carries less heat off.
    """
    steps = _air_step(scene)
    if steps is None:
        return None
    holds = steps[0] * steps[1] < 0 and abs(steps[1]) >= AIR_SHARE * steps[2]
    return Finding(holds, f"stack {steps[0]:+.0f} K, warm-air rise {steps[1]:+.1f} K of {steps[2]:.0f} K")


@evidence("rise-fast", 0.25)
def rise_fast(scene: Scene) -> Finding | None:
    """The rise is faster than 25 K per 100 burning hours: ashy oil or a sooting fire."""
    slope = scene.number("slope_K_per_100h")
    return None if slope is None else Finding(slope > 25.0, f"rises {slope:.0f} K per 100 h of firing")


@evidence("low-from-first", 0.2)
def low_from_first(scene: Scene) -> Finding | None:
    """The stack has been this cool since it was first watched."""
    change = scene.change("stack_net_K")
    if change is None:
        return None
    return Finding(abs(change[0] - change[1]) < 10.0, f"net stack {change[0]:.0f} K, usual {change[1]:.0f} K")


@evidence("blower-off", 0.06)
def blower_off(scene: Scene) -> Finding | None:
    """The warm-air fan stands still although the furnace is hot."""
    blower = scene.plant.state("blower")
    if blower is None:
        return None
    return Finding(not blower, "warm-air fan runs" if blower else "warm-air fan stands still")


@evidence("air-usual-when-open", 0.15, once=True)
def air_usual_when_open(scene: Scene) -> Finding | None:
    """The warm air was no hotter than usual when the limit opened, and did reach the probe."""
    usual, raised_ms = scene.usual("supply_rise_K"), scene.entry.raised_ms
    x = scene.plant.history.window("supply_air", raised_ms - 600_000, raised_ms)[1]
    if usual is None or not len(x):
        return None
    rise = float(x.max()) - scene.fire.air_C()
    if rise < 0.85 * usual:
        return Finding(False, f"little warm air reaches the probe: rise {rise:.0f} K, usual {usual:.0f} K")
    return Finding(rise < 1.04 * usual, f"warm-air rise {rise:.0f} K when it opened, usual {usual:.0f} K")


@evidence("rise-creeping", 0.3)
def rise_creeping(scene: Scene) -> Finding | None:
    """The warm-air rise had been creeping up for days, as when filters fill with dust."""
    before, change = scene.seen.daily["supply_rise_K"].day_before(scene.now_ms), scene.change("supply_rise_K")
    if before is None or change is None:
        return None
    now, usual = change
    holds = 1.03 * usual < before < usual + 0.8 * (now - usual)
    return Finding(holds, f"warm-air rise {before:.0f} K the day before, usual {usual:.0f} K")
