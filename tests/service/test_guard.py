"""An error of ours in one furnace's analysis: the others go on, it is said, and it is tried again."""

import time
from pathlib import Path
from typing import Any

import pytest

from sootline.analysis.watch import Watch
from sootline.files.profiles import for_furnace
from sootline.ingest.intake import Intake
from sootline.profile import Profile, parse
from sootline.store import Store
from sootline.watches import RETRY_MS, Watches
from sootline.wire.message import Message
from tests.service.kit import PROFILE, payloads, stalled_refill

NOW_MS = 1_767_603_600_000


def _profile(furnace: str) -> Profile:
    return for_furnace(parse(PROFILE), furnace)


def _messages(furnace: str) -> list[Message]:
    return [
        Message(NOW_MS + 100, f"sootline/{furnace}/measurements", payload.replace(b"engine-shed", furnace.encode()))
        for payload in payloads(stalled_refill(NOW_MS))
    ]


def test_a_watch_that_fails_takes_no_other_with_it_and_comes_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Store.open(tmp_path) as store:
        intake, watches = Intake(store), Watches(store, _profile, guarded=True)
        works = Watch.arrived

        def fails(self: Watch, *rest: Any) -> Any:
            if self.profile.furnace.id == "engine-shed":
                raise ZeroDivisionError("a mistake")
            return works(self, *rest)

        with monkeypatch.context() as mistaken:
            mistaken.setattr(Watch, "arrived", fails)
            changes = watches.deliver(intake.take(_messages("engine-shed") + _messages("carriage-shop")))
        assert {alarm.furnace for alarm in changes.alarms.values()} == {"carriage-shop"}
        [trouble] = watches.troubles
        assert "engine-shed" in trouble and "a mistake" in trouble
        assert watches.furnaces["engine-shed"].readings["tank"].value == 60.0
        assert not watches.tick(NOW_MS + RETRY_MS // 2).alarms
        changes = watches.tick(NOW_MS + RETRY_MS + 200)
        assert "refill-timeout" in {alarm.alarm for alarm in changes.alarms.values()}
        assert watches.troubles == ()


def test_a_replay_does_not_hide_such_an_error(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: Any) -> Any:
        raise ZeroDivisionError("a mistake")

    monkeypatch.setattr(Watch, "arrived", fails)
    with Store.open(tmp_path) as store, pytest.raises(ZeroDivisionError):
        Watches(store, _profile).deliver(Intake(store).take(_messages("engine-shed")))


def test_the_time_zone_and_clock_of_the_machine_play_no_part(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    found = []
    for zone in ("UTC", "America/Denver", "Asia/Kathmandu"):
        monkeypatch.setenv("TZ", zone)
        time.tzset()
        with Store.open(tmp_path / zone.replace("/", "-")) as store:
            changes = Watches(store, _profile).deliver(Intake(store).take(_messages("engine-shed")))
        found.append([alarm.record() for alarm in changes.alarms.values()])
    monkeypatch.setenv("TZ", "UTC")
    time.tzset()
    assert found[0] and found[0] == found[1] == found[2]
