"""From a pack on the broker to an alarm on the broker, through the real parts."""

import json
import time
import urllib.request
from pathlib import Path

from sootline.live import Live
from sootline.retained import WAIT_S
from tests.service.kit import Peer, eventually, payloads, running, stalled_refill

MEASUREMENTS = "sootline/engine-shed/measurements"
ALARM = "sootline/engine-shed/alarms/refill-timeout"


def _now_ms() -> int:
    return time.time_ns() // 1_000_000


def _alarm_ids(live: Live) -> set[str]:
    return {alarm.alarm for furnace in live.furnaces() for alarm in furnace.alarms}


def test_a_stalled_refill_is_on_the_broker_the_page_and_in_the_store(tmp_path: Path) -> None:
    with running(tmp_path) as service, Peer(service.address.port) as peer:
        for payload in payloads(stalled_refill(_now_ms())):
            peer.publish(MEASUREMENTS, payload)
        record = peer.hear(ALARM)
        assert record["state"] == "unacknowledged" and record["furnace"] == "engine-shed"
        assert record["detail"]["limit_s"] == 20.0
        [furnace] = service.live.furnaces()
        assert furnace.readings["tank"].value == 60.0
        assert "refill-timeout" in _alarm_ids(service.live)
        assert service.store.alarms("engine-shed")[0].alarm == "refill-timeout"
        with urllib.request.urlopen(service.web.url, timeout=10) as page:
            assert "engine-shed" in page.read().decode()
        with Peer(service.address.port) as late:
            assert late.hear(ALARM) == record  # retained


def test_acknowledging_is_stored_published_and_survives_a_restart(tmp_path: Path) -> None:
    with running(tmp_path) as service, Peer(service.address.port) as peer:
        for payload in payloads(stalled_refill(_now_ms())):
            peer.publish(MEASUREMENTS, payload)
        peer.hear(ALARM)
        [alarm] = [a for a in service.live.furnaces()[0].alarms if a.alarm == "refill-timeout"]
        assert service.live.acknowledge(alarm.key, "Maud")
        record = peer.hear(ALARM)
        assert record["state"] == "acknowledged" and record["acknowledged"]["by"] == "Maud"
        assert not service.live.acknowledge(("engine-shed", "leak", None, 1), "Maud")
    with running(tmp_path) as service, Peer(service.address.port) as peer:
        assert peer.hear(ALARM) == record
        [again] = [a for a in service.live.furnaces()[0].alarms if a.alarm == "refill-timeout"]
        assert again.state == "acknowledged" and again.acknowledged is not None
        assert peer.heard.empty()


def test_a_restart_repeats_nothing(tmp_path: Path) -> None:
    with running(tmp_path) as service, Peer(service.address.port) as peer:
        for payload in payloads(stalled_refill(_now_ms())):
            peer.publish(MEASUREMENTS, payload)
        first = peer.hear(ALARM)
        stored = service.store.alarms()
    for _ in range(2):
        with running(tmp_path) as service, Peer(service.address.port) as peer:
            assert peer.hear(ALARM) == first  # what was retained, not a new one
            eventually(lambda: service.live.furnaces())
            time.sleep(WAIT_S + 0.5)  # after this the host has brought the retained alarms in line
            assert peer.heard.empty()
            assert service.store.alarms() == stored


def test_a_returned_alarm_is_taken_off_the_broker(tmp_path: Path) -> None:
    with running(tmp_path) as service, Peer(service.address.port) as peer:
        end_ms = _now_ms() - 40_000
        stalled = stalled_refill(end_ms)
        for payload in payloads(stalled):
            peer.publish(MEASUREMENTS, payload)
        assert peer.hear(ALARM)["state"] == "unacknowledged"
        filled = stalled_refill(end_ms + 40_000).between(end_ms + 5000, 2**62)
        filled.values["pump"][:] = [0, 1, 1, 0, 0, 0, 0, 0]
        filled.values["float"][:] = [1, 1, 1, 0, 0, 0, 0, 0]
        for payload in payloads(filled, first_seq=100, boot_ms=int(stalled.t_ms[0]) - 60_000):
            peer.publish(MEASUREMENTS, payload)
        assert peer.hear(ALARM)["state"] == "returned"
        assert peer.hear(ALARM) is None
        assert service.live.furnaces()[0].alarms[-1].state == "returned"


def test_announcements_and_last_wills_are_noted(tmp_path: Path) -> None:
    with running(tmp_path) as service, Peer(service.address.port) as peer:
        said = {"online": True, "version": 1, "boot": "b1", "interval": 5, "idle_interval": 60}
        peer.publish("sootline/engine-shed/board", json.dumps(said).encode(), retain=True)
        eventually(lambda: any(furnace.board == said for furnace in service.live.furnaces()))
        peer.publish("sootline/engine-shed/board", b'{"online": false}', retain=True)
        eventually(lambda: any(furnace.board == {"online": False} for furnace in service.live.furnaces()))
    with running(tmp_path) as service:
        eventually(lambda: any(furnace.board == {"online": False} for furnace in service.live.furnaces()))
