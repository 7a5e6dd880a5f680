"""Service mode: what comes up while somebody works on the furnace is kept and calls nobody, unless it is critical."""

from dataclasses import replace

import pytest

from sootline.analysis.book import Book
from sootline.analysis.watch import Watch
from sootline.errors import ProfileError
from sootline.profile import Profile, ServiceMode, parse
from sootline.series import Rows
from tests.analysis.kit import PLAIN, flue, found, held, ms, pulses, rows, run

END_S = 8000.0
FIRES = ((4000.0, 4700.0), (5000.0, 5700.0), (6000.0, 6700.0))


def shed(**more) -> Rows:  # type: ignore[no-untyped-def]
    """A locked-out furnace from 1000 s to 3500 s, then three proved firings."""
    drawn = {
        "tank": held(65, END_S), "nozzle": held(95, END_S), "stack": flue(*FIRES), "pump": 0,
        "lockout": pulses((1000, 3500)), "burner": pulses(*FIRES),
    }  # fmt: skip
    return rows(END_S, **(drawn | more))


def working(*modes: tuple[float, float]) -> Profile:
    """The profile of a furnace somebody works on from each first to each second moment [s]."""
    return replace(parse(PLAIN), service=tuple(ServiceMode(ms(a), ms(b), "Pim", "electrodes") for a, b in modes))


def test_what_comes_up_meanwhile_is_suppressed_and_never_what_is_critical() -> None:
    engine = run(shed(leak=pulses((1500, END_S))), profile=working((500, 7200)))
    (locked,), (leak,) = found(engine, "lockout"), found(engine, "leak")
    assert (locked.state, locked.suppressed_by) == ("suppressed", "service-mode")
    assert (leak.state, leak.suppressed_by) == ("unacknowledged", None)
    (before,) = found(run(shed()), "lockout")
    assert before.suppressed_by is None and before.raised_ms == locked.raised_ms


def test_what_stood_before_stays() -> None:
    (locked,) = found(run(shed(lockout=pulses((100, END_S)), burner=0), profile=working((500, 7200))), "lockout")
    assert locked.state == "unacknowledged"


def test_what_still_stands_ten_minutes_after_its_end_calls() -> None:
    stands = shed(lockout=pulses((1000, END_S)), burner=0, stack=25)
    ended = working((500, 2000))
    assert found(run(stands.between(0, ms(2590)), profile=ended), "lockout")[0].state == "suppressed"
    assert found(run(stands.between(0, ms(2700)), profile=ended), "lockout")[0].state == "unacknowledged"
    again = working((500, 2000), (2100, 7200))  # somebody has come back to it
    assert found(run(stands.between(0, ms(7700)), profile=again), "lockout")[0].state == "suppressed"


def test_it_ends_in_time_by_hand_and_when_the_furnace_has_fired_twice() -> None:
    def spans(profile: Profile) -> list[tuple[float, float]]:
        engine = run(shed(), profile=profile)
        events = engine.take_events()
        return [
            ((e.start_ms - ms(0)) / 1000, (e.end_ms - ms(0)) / 1000)
            for e in events
            if e.kind == "phase" and e.features["phase"] == "service"
        ]

    assert spans(working((500, 2000))) == [(500, 2000)]
    by_hand = replace(
        working((500, 7200)), service=(*working((500, 7200)).service, ServiceMode(ms(900), ms(900), "Pim"))
    )
    assert spans(by_hand) == [(500, 900)]
    ((begin, end),) = spans(working((500, 7200)))
    assert begin == 500 and 5300 <= end <= 5400  # five minutes into the second firing


@pytest.mark.parametrize("chunk_s", [37, 600, 3000])
def test_it_does_not_depend_on_how_the_rows_come(chunk_s: int) -> None:
    whole = shed(leak=pulses((1500, 1700)))
    parts = [whole.between(ms(s), ms(s + chunk_s)) for s in range(0, int(END_S), chunk_s)]
    assert run(*parts, profile=working((500, 2000))).alarms == run(whole, profile=working((500, 2000))).alarms


@pytest.mark.parametrize("told_s", [500, 2500, 8000])
def test_an_act_told_live_gives_what_the_profile_gives(told_s: float) -> None:
    """Also where rows of after it had come before it: the clocks of a board and its host differ by seconds."""
    whole = shed()
    mode = working((500, 7200)).service[0]
    watch = Watch(parse(PLAIN), lambda a, b: whole.between(a, min(b, ms(told_s))))
    watch.arrived(whole.between(0, ms(told_s)), None)
    update = watch.served(mode)
    if told_s > 1000:
        assert [alarm.suppressed_by for alarm in update.alarms if alarm.alarm == "lockout"] == ["service-mode"]
    watch.arrived(whole.between(ms(told_s), ms(END_S)), None)
    assert watch.alarms == run(whole, profile=working((500, 7200))).alarms


def test_a_rise_to_critical_breaks_through() -> None:
    book = Book(1_800_000, 600_000, lambda: False, lambda: 100)
    entry = book.raise_("refill-timeout", None, "high", 200, 200, {})
    assert entry.suppressed_by == "service-mode"
    assert book.raise_("refill-timeout", None, "critical", 300, 300, {}).suppressed_by is None


def test_it_stands_in_a_profile_too() -> None:
    text = (
        PLAIN + '[[service]]\nat = 2026-01-05T10:00:00Z\nuntil = 2026-01-05T12:00:00Z\nby = "Pim"\nreason = "nozzle"\n'
    )
    [mode] = parse(text).service
    assert (mode.until_ms - mode.at_ms, mode.by, mode.reason) == (7_200_000, "Pim", "nozzle")
    with pytest.raises(ProfileError, match=r"'service 1.until' lies before its 'at'"):
        parse(text.replace("T12:00", "T09:00"))
    with pytest.raises(ProfileError, match=r"unknown key 'service 1.who'"):
        parse(text.replace("by =", "who ="))
    with pytest.raises(ProfileError, match=r"service must be written as \[\[service\]\] tables"):
        parse(PLAIN + "[service]\nat = 2026-01-05\n")


def test_nothing_is_learned_from_what_was_tried_meanwhile() -> None:
    """Refills of 10 s every 900 s, and ten pushes of 6 s by hand while somebody works on the pump."""
    usual = tuple((s, s + 10.0) for s in range(900, 9001, 900))
    tried = tuple((s, s + 6.0) for s in range(9500, 12501, 300))
    drawn = {"tank": held(65, 16000.0), "nozzle": held(95, 16000.0), "stack": 25}
    readings = rows(16000.0, pump=pulses(*usual, *tried), **drawn)

    def medians(profile: Profile) -> tuple[float | None, int]:
        engine = run(readings, profile=profile)
        assert sum(event.kind == "refill" for event in engine.take_events()) == 21, "each is kept as an event"
        return engine.refills.usual_on_s.median, engine.refills.usual_on_s.count

    middle, count = medians(working((9200, 13000)))
    assert (middle, count) == (pytest.approx(10.0, abs=0.5), 10)
    assert medians(working((13200, 14000)))[1] > 10, "tried with nobody's word, it counts"


def test_a_firing_tried_meanwhile_does_not_teach_how_long_lighting_takes() -> None:
    engine = run(shed(lockout=0), profile=working((5500, 7000)))
    assert engine.time_to_flame.count + len(FIRES[1:]) == run(shed(lockout=0)).time_to_flame.count
