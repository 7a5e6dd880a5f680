"""What the phase is before anything has moved, and when nothing can tell."""

import numpy as np
import pytest

from sootline.analysis.engine import Engine
from sootline.profile import parse
from tests.analysis.kit import PLAIN, flue, held, ms, pulses, rows, run


def phases(engine: Engine) -> list[str]:
    return [str(e.features["phase"]) for e in engine.take_events() if e.kind == "phase"] + [engine.phase.phase]


def test_a_resting_furnace_on_the_required_four_stands_by() -> None:
    engine = run(rows(1200, tank=held(65, 1200), nozzle=held(95, 1200), stack=held(25, 1200, 0.3), pump=0))
    assert engine.phase.phase == "standby"


def test_without_stack_flame_and_burner_it_is_unknown() -> None:
    before = rows(4000, tank=held(65, 4000), nozzle=held(95, 4000), stack=flue((1000.0, 2000.0)), pump=0)
    blind = rows(6000, start_s=4000, tank=65.0, nozzle=95.0, pump=0)
    again = rows(9000, start_s=6000, tank=65.0, nozzle=95.0, stack=25.0, pump=0)
    engine = Engine(parse(PLAIN))
    for part in (before, blind, again):
        engine.feed(part)
    assert phases(engine) == ["standby", "firing", "cool-down", "standby", "unknown", "standby"]


def test_a_burner_contact_tells_where_the_stack_cannot() -> None:
    engine = run(rows(2000, tank=65.0, nozzle=95.0, pump=0, burner=0, call=0))
    assert engine.phase.phase == "standby"


@pytest.mark.parametrize("silent_s", [200, 400, 700, 1500])
@pytest.mark.parametrize("seen", [("burner",), ("burner", "flame"), ("call",), ()])
def test_a_fire_lit_in_a_silence_is_seen_after_it(seen: tuple[str, ...], silent_s: float) -> None:
    end_s, lit_s = 6000.0, 3760.0
    told = {name: pulses((lit_s, end_s)) for name in seen}
    whole = rows(end_s, tank=held(65, end_s), nozzle=held(95, end_s), pump=0, stack=flue((lit_s, end_s)), **told)
    whole.values["stack"][:] += np.random.default_rng(1).normal(0.0, 1.0, len(whole))
    engine = run(whole.between(0, ms(3700)), whole.between(ms(3700 + silent_s), ms(end_s)))
    assert engine.fire.on and engine.phase.phase == "firing"
    assert engine.alarms == []


@pytest.mark.parametrize("after_s", [60, 300, 1200])
def test_a_flue_that_cools_after_a_silence_burns_no_more(after_s: float) -> None:
    """The fire of an hour went out in a silence that ended so long after it."""
    end_s, out_s = 8000.0, 5000.0
    whole = rows(end_s, tank=held(65, end_s), nozzle=held(95, end_s), pump=0, stack=flue((1400, out_s)))
    whole.values["stack"][:] += np.random.default_rng(2).normal(0.0, 1.0, len(whole))
    engine = run(whole.between(0, ms(out_s - 400)), whole.between(ms(out_s + after_s), ms(end_s)))
    assert not engine.fire.on
    assert sum(event.kind == "firing" for event in engine.take_events()) <= 1
