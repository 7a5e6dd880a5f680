"""Verdicts wait for the steps they need, once a record has been started; limits and everything else go on."""

import json
from datetime import date
from pathlib import Path

import pytest

from sootline import cli, walkthrough
from sootline.alarms import Alarm
from sootline.analysis.catalogue import HIDES, KINDS
from sootline.analysis.watch import Watch
from sootline.commissioning.steps import NEEDS, STEPS
from sootline.files import commissioning
from sootline.now import Readiness
from sootline.profile import parse
from sootline.series import Rows
from sootline.store import Store
from sootline.watches import Watches
from sootline.wire.encode import packs
from sootline.wire.pack import Pack
from sootline.wire.pack import parse as parse_pack
from tests.analysis.kit import ON_CALL
from tests.analysis.test_heat_detectors import heated
from tests.service.kit import eventually, running

DAY = date(2026, 1, 10)
STEP = "the commissioning step Ice point (day tank)"
VALUES = {"sensor": "thermocouple", "reading_C": 0.4}


def slow_preheat() -> Rows:
    """Six usual climbs of the day tank, one at half the rate, two usual ones."""
    return heated([3.0] * 6 + [1.5] + [3.0] * 3)


def readiness(watch: Watch, alarm: str) -> Readiness:
    return next(item for item in watch.readiness if item.alarm == alarm)


def names(alarms: list[Alarm]) -> set[str]:
    return {alarm.alarm for alarm in alarms}


def test_a_waiting_verdict_is_not_reported_and_its_eyes_are_shut() -> None:
    series = slow_preheat()
    free = Watch(parse(ON_CALL), series.between)
    held = Watch(parse(ON_CALL), series.between, waiting={"preheat-slow": STEP})
    told, kept_back = free.arrived(series), held.arrived(series)
    assert "preheat-slow" in names(list(told.alarms)) and "preheat-slow" in names(free.alarms)
    assert [a for a in told.alarms if a.alarm != "preheat-slow"] == list(kept_back.alarms)
    assert readiness(held, "preheat-slow") == Readiness("preheat-slow", "blind", needs=STEP)
    assert [r for r in free.readiness if r.alarm != "preheat-slow"] == [
        r for r in held.readiness if r.alarm != "preheat-slow"
    ]


def test_the_end_of_waiting_tells_all_and_its_beginning_takes_it_back() -> None:
    series = slow_preheat()
    watch = Watch(parse(ON_CALL), series.between, waiting={"preheat-slow": STEP})
    watch.arrived(series)
    told = watch.wait_for({})
    assert names(list(told.alarms)) == {"preheat-slow"} and not told.removed
    assert readiness(watch, "preheat-slow").state != "blind"
    back = watch.wait_for({"preheat-slow": STEP})
    assert back.removed == tuple(alarm.key for alarm in told.alarms) and not back.alarms
    assert "preheat-slow" not in names(watch.alarms)


def test_late_data_do_not_let_a_waiting_verdict_out() -> None:
    series = slow_preheat()
    watch = Watch(parse(ON_CALL), series.between, waiting={"preheat-slow": STEP})
    watch.arrived(series)
    update = watch.changed(int(series.t_ms[100]))
    assert "preheat-slow" not in names(watch.alarms) and "preheat-slow" not in names(list(update.alarms))


def test_a_sensor_is_needed_before_its_step() -> None:
    """Without a burner's rating overfiring needs the profile first, whatever step waits."""
    series = slow_preheat().between(0, 2**62)
    bare = Watch(parse('[furnace]\nid = "engine-shed"\n'), series.between, waiting={"overfiring": STEP})
    bare.arrived(series)
    assert readiness(bare, "overfiring").state == "blind" and readiness(bare, "overfiring").needs != STEP


def test_only_trends_wait_and_none_of_them_hides_another() -> None:
    """A verdict that is not told must not keep a limit alarm out of sight."""
    assert set(NEEDS) <= set(KINDS)
    assert not set(NEEDS) & set(HIDES)


def test_the_words_of_a_need_are_shown_as_they_are() -> None:
    for needs in NEEDS.values():
        words = walkthrough.waiting_words(needs)
        assert words.startswith("the commissioning step ") and "." not in words
    assert all("." not in step.title for step in STEPS)


@pytest.fixture
def stored(tmp_path: Path) -> tuple[Path, Rows]:
    """A data folder with the slow preheat in its store."""
    series = slow_preheat()
    with Store.open(tmp_path) as store, store.batch() as batch:
        for encoded in packs(series, "engine-shed", "b1", int(series.t_ms[0]), samples=200, first_seq=0):
            pack = parse_pack("engine-shed", encoded.payload)
            assert isinstance(pack, Pack) and pack.base_ms is not None
            batch.pack(pack, int(series.t_ms[-1]), pack.base_ms)
    return tmp_path, series


def watching(store: Store, data: Path) -> tuple[Watches, commissioning.Records]:
    records = commissioning.Records(data)
    return Watches(store, lambda name: parse(ON_CALL), waiting=records.waiting), records


def test_the_record_is_read_at_start_and_when_it_changes(stored: tuple[Path, Rows]) -> None:
    data, series = stored
    end_ms = int(series.t_ms[-1])
    with Store.open(data) as store:
        watches, _ = watching(store, data)
        free = watches.resume("engine-shed", end_ms)
        assert "preheat-slow" in names(list(free.alarms.values())), "without a record nothing waits"

        commissioning.add(data, "engine-shed", "ice_point", DAY, "Maud", VALUES, "tank")
        changes = watches.tick(end_ms + 1000)
        assert {key[1] for key in changes.removed} == {"preheat-slow"}
        watch = watches.furnaces["engine-shed"].watch
        assert readiness(watch, "preheat-slow").needs == "the commissioning step Ice point (nozzle oil)"

        again, _ = watching(store, data)
        assert "preheat-slow" not in names(list(again.resume("engine-shed", end_ms).alarms.values()))

        commissioning.add(data, "engine-shed", "ice_point", DAY, "Maud", VALUES, "nozzle")
        assert "preheat-slow" in names(list(watches.tick(end_ms + 2000).alarms.values()))
        assert not watches.tick(end_ms + 3000)


def test_an_analysis_of_the_past_waits_as_the_service_does(
    stored: tuple[Path, Rows], capsys: pytest.CaptureFixture[str]
) -> None:
    data, _ = stored
    (data / "profiles").mkdir()
    (data / "profiles" / "engine-shed.toml").write_text(ON_CALL)

    def found() -> set[str]:
        assert cli.main(["replay", "--all", "--workers", "1", "--json", "--data", str(data)]) == 0
        return {json.loads(line)["alarm"] for line in capsys.readouterr().out.splitlines()}

    assert "preheat-slow" in found()
    commissioning.add(data, "engine-shed", "ice_point", DAY, "Maud", VALUES, "tank")
    assert "preheat-slow" not in found()
    commissioning.add(data, "engine-shed", "ice_point", DAY, "Maud", VALUES, "nozzle")
    assert "preheat-slow" in found()


def test_a_record_that_breaks_stays_in_force_and_is_told(stored: tuple[Path, Rows]) -> None:
    data, series = stored
    end_ms = int(series.t_ms[-1])
    commissioning.add(data, "engine-shed", "ice_point", DAY, "Maud", VALUES, "tank")
    with Store.open(data) as store:
        watches, records = watching(store, data)
        watches.resume("engine-shed", end_ms)
        file = commissioning.path(data, "engine-shed")
        whole = file.read_text()
        file.write_text("{")
        assert not watches.tick(end_ms + 1000)
        assert "is not JSON" in records.problems["engine-shed"]
        file.write_text(whole)
        watches.tick(end_ms + 2000)
        assert not records.problems
        file.unlink()
        assert "preheat-slow" in names(list(watches.tick(end_ms + 3000).alarms.values()))


def test_the_running_service_heeds_it(tmp_path: Path) -> None:
    commissioning.add(tmp_path, "engine-shed", "bench", DAY, "Maud", BENCH)
    with running(tmp_path) as service:

        def needs() -> str | None:
            now = service.live.now("engine-shed")
            found = [item for item in now.readiness if item.alarm == "oil-use-high"] if now else []
            return found[0].needs if found else None

        assert eventually(needs) == "the commissioning step Float differential"
        commissioning.path(tmp_path, "engine-shed").write_text("{")
        eventually(lambda: any("is not JSON" in trouble for trouble in service.live.troubles))


BENCH = {"wrong_inputs": 0, "hours": 24, "resets": 0, "faults": 0, "rssi": -60}
