"""What the phase is before anything has moved, and when nothing can tell."""

from sootline.analysis.engine import Engine
from sootline.profile import parse
from tests.analysis.kit import PLAIN, flue, held, rows, run


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
