"""A profile that is changed on its page takes effect in the running service as it does at a start."""

import re
import time
from pathlib import Path

import httpx

from sootline.service import Service
from tests.service.kit import PROFILE, Peer, eventually, payloads, rows, running

MEASUREMENTS = "sootline/engine-shed/measurements"
PAGE = "furnace/engine-shed/profile"


def hot(service: Service) -> list[tuple[str, str | None, int]]:
    found = service.store.alarms("engine-shed")
    return [(a.alarm, a.channel, a.raised_ms) for a in found if a.alarm == "oil-overtemperature"]


def test_a_lower_limit_raises_at_once_what_a_restart_would_raise(tmp_path: Path) -> None:
    own = tmp_path / "own"
    own.mkdir()
    (own / "engine-shed.toml").write_text(PROFILE)
    start_ms = time.time_ns() // 1_000_000 - 150_000
    tank = [92.0] * 30
    sent = rows(start_ms, tank=tank, nozzle=[80.0] * 30, stack=[20.0] * 30, pump=[0.0] * 30)
    with running(tmp_path, profiles=own) as service, Peer(service.address.port) as peer:
        for payload in payloads(sent):
            peer.publish(MEASUREMENTS, payload)
        eventually(lambda: any("tank" in now.readings for now in service.live.furnaces()))
        assert hot(service) == []
        with httpx.Client(base_url=service.web.url, follow_redirects=True) as client:
            page = client.get(PAGE).text
            fields = dict(re.findall(r'name="(token|seen)" value="([^"]+)"', page))
            answer = client.post(PAGE, data=fields | {"tank.limit_C": "85"})
            assert "Changed." in answer.text
        raised = eventually(lambda: hot(service))
        record = peer.hear("sootline/engine-shed/alarms/oil-overtemperature/tank")
        assert record["detail"]["limit_C"] == 85.0
        eventually(lambda: not service.live.troubles)
        assert service.live.profiles["engine-shed"].tank.limit_C == 85.0
        (own / "engine-shed.toml").write_text("no profile")
        with httpx.Client(base_url=service.web.url) as client:
            token = re.findall(r'data-token="([\w-]{43})"', client.get(PAGE).text)[0]
            refused = client.post(PAGE, data={"token": token, "again": "1"})
            assert refused.status_code == 400 and "not TOML" in refused.text
        assert service.live.profiles["engine-shed"].tank.limit_C == 85.0, "the last good one stays in force"
        earlier = next((own / "earlier").iterdir())
        assert earlier.read_text() == PROFILE
        (own / "engine-shed.toml").write_text(PROFILE.replace("95.0", "85.0"))
    with running(tmp_path, profiles=own) as service:
        assert hot(service) == raised
    (own / "engine-shed.toml").write_text(PROFILE)
    with running(tmp_path, profiles=own) as service:
        assert hot(service) == [], "and with the old limit back it is as if it had never been"
