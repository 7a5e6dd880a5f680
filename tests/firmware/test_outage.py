"""Outages end to end: the broker away for hours, the board killed meanwhile, the wireless network down."""

import itertools
import json
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from sootline.bench import Bench, Board

from .conftest import Listener, Mosquitto
from .proxy import Proxy
from .senml_reader import facts, resolve

START_MS = 1_795_600_000_000
HOUR_MS = 3_600_000
PATIENCE_S = 300  # real time: the computer may be busy


def signals(t_ms: int) -> dict[str, float | bool]:
    return {
        "tank": 60.0 + t_ms % 600_000 / 100_000,
        "nozzle": 85.0,
        "stack": 200.0 + t_ms % 900_000 / 5_000,
        "pump": t_ms % 300_000 < 9_000,
        "burner": True,
    }


class _Arrivals:
    """Packs in order of arrival."""

    def __init__(self, listener: Listener) -> None:
        time.sleep(0.3)  # the last ones are on their way
        self.packs: list[Any] = [json.loads(p) for t, p in listener.messages if t.endswith("/measurements")]

    def times(self) -> set[float]:
        return {round(p.t_s, 3) for pack in self.packs for p in resolve(pack) if p.name == "stack"}

    def uptimes(self) -> list[float]:
        """When the rows were made [s] by the board's own counter, which no setting of its clock moves; one boot."""
        at = {
            round(facts(pack)["uptime"] + p.t_s - pack[0].get("bt", 0), 3)
            for pack in self.packs
            for p in resolve(pack)
            if p.name == "stack"
        }
        return sorted(at)

    def check(self) -> None:
        """Nothing lost, nothing changed on repetition."""
        contents: dict[tuple[str, int], Any] = {}
        for pack in self.packs:
            key = facts(pack)["boot"], facts(pack)["seq"]
            assert contents.setdefault(key, pack) == pack
        for boot in {b for b, _ in contents}:
            seqs = sorted(s for b, s in contents if b == boot)
            assert seqs == list(range(len(seqs)))


@pytest.fixture
def way(broker: Mosquitto) -> Iterator[Proxy]:
    """The network between board and broker; the listener is not behind it and hears everything."""
    proxy = Proxy(broker.port, broker.port)
    yield proxy
    proxy.close()


def test_two_hours_without_broker(way: Proxy, listener: Listener, tmp_path: Path) -> None:
    bench = Bench(signals, start_ms=START_MS, until_ms=START_MS + 3 * HOUR_MS)
    data = tmp_path / "flash"
    with bench, Board("shed", bench=bench, broker_port=way.port, speed=600, settings={"data": str(data)}) as board:
        assert bench.wait_until(START_MS + HOUR_MS // 4, PATIENCE_S)
        way.set("refuse")
        assert bench.wait_until(START_MS + HOUR_MS * 9 // 4, PATIENCE_S)
        assert list(data.iterdir())
        way.set("pass")
        assert bench.finished.wait(PATIENCE_S), board.log
    arrivals = _Arrivals(listener)
    arrivals.check()
    times = sorted(arrivals.times())
    assert times[-1] - times[0] > 2.9 * 3600
    # A row each 5 s, a conversion more where an edge came between. The UTC of the rows may step at an hourly setting.
    assert max(b - a for a, b in itertools.pairwise(arrivals.uptimes())) < 6
    backlog = [len({p.t_s for p in resolve(pack)}) for pack in arrivals.packs]
    assert max(backlog) == 24
    assert not list(data.iterdir())


def test_board_killed_during_an_outage(way: Proxy, listener: Listener, tmp_path: Path) -> None:
    data = {"data": str(tmp_path / "flash")}
    bench = Bench(signals, start_ms=START_MS)
    with bench:
        way.set("refuse")
        with Board("shed", bench=bench, broker_port=way.port, speed=0, settings=data, directory=tmp_path):
            assert bench.wait_until(START_MS + HOUR_MS // 2, PATIENCE_S)
        cut_ms = bench.now_ms
        way.set("pass")
        with Board("shed", bench=bench, broker_port=way.port, speed=600, settings=data, directory=tmp_path) as board:
            assert bench.wait_until(cut_ms + 600_000, PATIENCE_S), board.log
    arrivals = _Arrivals(listener)
    first_boot = facts(arrivals.packs[-1])["boot"]
    boots = {facts(p)["boot"] for p in arrivals.packs}
    assert len(boots) == 2 and first_boot in boots
    old = [p for p in arrivals.packs if facts(p)["boot"] != first_boot]
    # The memory that outlives a reset holds what was not on flash yet: nothing is missing.
    seqs = [facts(p)["seq"] for p in old]
    assert sorted(set(seqs)) == list(range(max(seqs) + 1))
    last = max(p.t_s - pack[0].get("bt", 0) + facts(pack)["uptime"] for pack in old for p in resolve(pack))
    assert last * 1000 == pytest.approx(cut_ms - START_MS, abs=12_000)


def test_power_cut_loses_the_memory_but_not_the_flash(way: Proxy, listener: Listener, tmp_path: Path) -> None:
    data = {"data": str(tmp_path / "flash")}
    bench = Bench(signals, start_ms=START_MS)
    with bench:
        way.set("refuse")
        with Board("shed", bench=bench, broker_port=way.port, speed=0, settings=data, directory=tmp_path) as board:
            assert bench.wait_until(START_MS + HOUR_MS // 2, PATIENCE_S), board.log
            off = board.directory
        (off / "rtc.bin").unlink()
        way.set("pass")
        cut_ms = bench.now_ms
        with Board("shed", bench=bench, broker_port=way.port, speed=600, settings=data, directory=tmp_path) as board:
            assert bench.wait_until(cut_ms + 600_000, PATIENCE_S), board.log
    packs = _Arrivals(listener).packs
    boot = facts(packs[-1])["boot"]
    old = [p for p in packs if facts(p)["boot"] != boot]
    seqs = sorted({facts(p)["seq"] for p in old})
    assert seqs == list(range(len(seqs))) and len(seqs) >= 10


def test_wireless_network_away(broker: Mosquitto, listener: Listener) -> None:
    bench = Bench(signals, start_ms=START_MS, until_ms=START_MS + HOUR_MS)
    bench.wifi = False
    with bench, Board("shed", bench=bench, broker_port=broker.port, speed=600) as board:
        assert bench.wait_until(START_MS + HOUR_MS // 3, PATIENCE_S)
        assert not listener.of("measurements")
        bench.wifi = True
        assert bench.finished.wait(PATIENCE_S), board.log
    arrivals = _Arrivals(listener)
    arrivals.check()
    times = sorted(arrivals.times())
    assert times[-1] - times[0] > 0.98 * 3600
