"""From a board's packs to a message at a real receiver, through the whole service."""

import json
from pathlib import Path

from sootline.files.contacts import NAME, write
from sootline.service import now_ms
from tests.messages.receivers import hook
from tests.service.kit import Peer, eventually, payloads, rows, running

TOPIC = "sootline/engine-shed/measurements"


def test_a_leak_is_told_with_its_first_step_and_no_more_once_somebody_has_it(tmp_path: Path) -> None:
    with hook() as maud:
        write(tmp_path / NAME, f'[[contact]]\nname = "Maud"\nways = ["{maud.way}"]\ndaily = ""\nweekly = ""\n')
        with running(tmp_path) as service, Peer(service.address.port) as board:
            wet = rows(now_ms() - 60_000, tank=[60.0] * 12, leak=[0.0] * 4 + [1.0] * 8)
            for pack in payloads(wet):
                board.publish(TOPIC, pack)
            [post] = eventually(lambda: maud.got)
            assert post["title"].startswith("ENGINE SHED: LIQUID IN THE DRIP TRAY")
            assert "First: Switch off, shut the supply valve" in post["message"]
            [leak] = [alarm for now in service.live.furnaces() for alarm in now.alarms]
            assert service.live.acknowledge(leak.key, "Maud")
            [message] = eventually(lambda: [m for m in service.store.messages() if m.state == "sent"])
            assert message.key == leak.key and service.live.troubles == ()
            assert service.live.try_way("Maud") and not service.live.try_way("Pim")
            test = eventually(lambda: maud.got[1:])[0]
            code = test["title"][-4:]
            assert not service.live.confirm("Maud", "x" + code, "Maud")
            assert eventually(lambda: service.live.confirm("Maud", code, "Maud"))
        # a restart says nothing anew
        with running(tmp_path) as service:
            eventually(lambda: service.live.furnaces())
            service.courier.look()
            assert len(maud.got) == 2


def test_the_whole_chain_is_alive_before_a_sign_of_life_is_sent(tmp_path: Path) -> None:
    with hook() as watcher:
        write(tmp_path / NAME, f"[heartbeat]\nurl = {json.dumps(watcher.url)}\nevery_min = 1\n")
        with running(tmp_path) as service:
            eventually(lambda: watcher.paths)
            assert service.store.recall("heartbeat") is not None
            assert service.broker is not None and service._broken() is None
            service.broker.stop()
            assert eventually(lambda: service._broken()) == "the broker cannot be heard"


def test_service_mode_is_kept_and_keeps_all_but_critical_alarms_from_calling(tmp_path: Path) -> None:
    with hook() as maud:
        write(tmp_path / NAME, f'[[contact]]\nname = "Maud"\nways = ["{maud.way}"]\ndaily = ""\nweekly = ""\n')
        with running(tmp_path) as service, Peer(service.address.port) as board:
            for pack in payloads(rows(now_ms() - 60_000, tank=[60.0] * 12, lockout=[0.0] * 12)):
                board.publish(TOPIC, pack)
            eventually(lambda: service.live.furnaces() and service.live.furnaces()[0].readings)
            assert service.live.serve("engine-shed", now_ms() + 3_600_000, "Pim", "electrodes")
            [now] = service.live.furnaces()
            assert now.service is not None and (now.service.by, now.service.reason) == ("Pim", "electrodes")
            later = rows(now_ms() + 1000, tank=[60.0] * 4, lockout=[1.0] * 4, leak=[1.0] * 4)
            for pack in payloads(later, boot="b2"):
                board.publish(TOPIC, pack)
            alarms = eventually(
                lambda: len(service.live.furnaces()[0].alarms) > 1 and service.live.furnaces()[0].alarms
            )
            state = {alarm.alarm: alarm.suppressed_by for alarm in alarms}
            assert state == {"lockout": "service-mode", "leak": None}
            [post] = eventually(lambda: maud.got)
            assert "DRIP TRAY" in post["title"]
        with running(tmp_path) as service:
            [now] = eventually(lambda: [n for n in service.live.furnaces() if n.service])
            assert now.phase == "service"
            assert service.live.serve("engine-shed", 0, "Pim", "")
            [now] = service.live.furnaces()
            assert now.service is None and [mode.by for mode in service.store.service("engine-shed")] == ["Pim", "Pim"]
