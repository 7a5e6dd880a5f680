"""The mirror against real servers: after whatever happened, every value is there, once."""

import dataclasses
import json
import urllib.parse
import urllib.request

import numpy as np
import pytest

from sootline.errors import UserError
from sootline.events import Event
from sootline.mirror import LineServer, Mirror, ServerUnavailable
from sootline.mirror.mirror import OVERLAP_MS
from sootline.series import SensorFault
from tests.store.making import ALL, DAY_MS, FURNACE, HOUR_MS, START_MS, day_packs, pack, put, rows, said
from tests.store.test_records import ALARM

NOW_MS = START_MS + 30 * DAY_MS


class Clock:
    """A tenth of a second passes with every step of the mirror, and a minute and more when it is told to."""

    def __init__(self) -> None:
        self.now_ms = NOW_MS
        self.lines = 0

    def run(self, mirror: Mirror) -> list[str]:
        """Step until nothing waits; the lines refused on the way."""
        refused: list[str] = []
        while True:
            progress = mirror.step(self.now_ms)
            self.now_ms += 100
            refused += progress.refused
            self.lines += progress.lines
            if not progress.behind:
                return refused

    def minutes_pass(self, mirror: Mirror, engine) -> None:
        """What was sent until now is on the server's disk; VictoriaMetrics needs some seconds, or a snapshot."""
        if engine.kind == "victoria-metrics":
            with urllib.request.urlopen(f"{engine.url}/snapshot/create", timeout=30):
                pass
        self.now_ms += 2 * OVERLAP_MS
        self.run(mirror)


@pytest.fixture
def clock():
    return Clock()


def deliver(store, packs):
    """Packs that each arrive 40 ms after their time."""
    with store.batch() as batch:
        for p in packs:
            batch.pack(p, p.base_ms + 40, p.base_ms)


def count(engine, field="tank") -> int:
    """How many values of a field the server holds, by its own counting."""
    if engine.kind == "influxdb":
        fields = {"db": "sootline", "q": f'SELECT count("{field}") FROM sootline'}
        path, dig = "/query", lambda a: a["results"][0]["series"][0]["values"][0][1]
    else:
        fields = {"query": f"count_over_time(sootline_{field}[10y])", "time": NOW_MS / 1000}
        path, dig = "/api/v1/query", lambda a: int(a["data"]["result"][0]["value"][1])
    with urllib.request.urlopen(f"{engine.url}{path}?{urllib.parse.urlencode(fields)}", timeout=30) as answer:
        return dig(json.load(answer))


def settled(engine):
    """VictoriaMetrics shows new values only after a while, unless told to."""
    if engine.kind == "victoria-metrics":
        with urllib.request.urlopen(f"{engine.url}/internal/force_flush", timeout=30):
            pass


def assert_mirrored(store, engine):
    settled(engine)
    kept = store.read(FURNACE, *ALL)
    assert said(engine.reader().read(FURNACE, *ALL)) == said(kept)
    assert count(engine) == np.count_nonzero(~np.isnan(kept.values["tank"]))


def test_loose_packed_sealed_and_late_rows_all_arrive_once(store, engine, clock):
    packs = [*day_packs(2), pack(9999, rows([0, 1], (SensorFault(7, "stack", "range"),), room=[0.3333, np.nan]))]
    deliver(store, packs[::2])
    store.compact(START_MS + DAY_MS + 3 * HOUR_MS)
    mirror = Mirror(store, engine.line_server())
    clock.run(mirror)
    with store.batch() as batch:
        for p in packs[1::2]:
            batch.pack(p, NOW_MS, p.base_ms)  # late, when days are sealed already
    clock.run(mirror)
    assert_mirrored(store, engine)
    assert engine.reader().furnaces() == [FURNACE] and engine.reader().extent(FURNACE) == store.extent(FURNACE)
    assert mirror.step(clock.now_ms).lines == 0, "nothing new, so nothing to send"


def test_an_outage_only_makes_it_wait(store, engine, clock):
    packs = list(day_packs(2))
    mirror = Mirror(store, engine.line_server())
    deliver(store, packs[:100])
    clock.run(mirror)
    engine.kill()
    for i in range(100, 500, 100):
        deliver(store, packs[i : i + 100])
        with pytest.raises(ServerUnavailable):
            mirror.step(clock.now_ms)
    store.compact(NOW_MS)
    engine.start()
    deliver(store, packs[500:])
    clock.run(mirror)
    assert_mirrored(store, engine)


def test_what_a_crashing_server_had_acknowledged_is_sent_again(store, engine, clock):
    packs = list(day_packs(2))
    mirror = Mirror(store, engine.line_server())
    deliver(store, packs[:250])
    clock.run(mirror)
    clock.minutes_pass(mirror, engine)
    deliver(store, packs[250:500])
    clock.run(mirror)
    engine.kill()  # at once after the last acknowledgement
    engine.start()
    deliver(store, packs[500:])
    clock.lines = 0
    clock.run(mirror)
    assert clock.lines < 2 * (len(packs) - 250) + 10, "only the last minute is sent again"
    assert_mirrored(store, engine)


def test_a_start_of_ours_goes_on_and_covers_the_last_minute(store, engine, clock):
    packs = list(day_packs(2))
    first = Mirror(store, engine.line_server())
    deliver(store, packs[:250])
    clock.run(first)
    clock.minutes_pass(first, engine)
    deliver(store, packs[250:500])
    clock.run(first)
    engine.kill()
    engine.start()
    second = Mirror(store, engine.line_server())
    deliver(store, packs[500:])
    clock.lines = 0
    clock.run(second)
    assert clock.lines < 2 * (len(packs) - 250) + 10, "it does not begin at the beginning"
    assert_mirrored(store, engine)


def test_a_backlog_is_drained_in_bounded_steps(store, engine, clock):
    deliver(store, day_packs(1, every=30))
    mirror = Mirror(store, engine.line_server())
    steps, most = 0, 0
    while (progress := mirror.step(clock.now_ms)).behind:
        steps, most = steps + 1, max(most, progress.lines)
    assert steps >= 23 and most <= 24 * 2
    assert_mirrored(store, engine)


def test_a_pack_without_a_clock_waits_until_its_place_is_sure(store, engine, clock):
    mirror = Mirror(store, engine.line_server())
    sure_ms = clock.now_ms - 6 * HOUR_MS
    with store.batch() as batch:
        for seq in range(4):
            p = pack(seq, rows([0], tank=[seq / 10]), uptime_ms=5000 * seq, clock=False)
            batch.pack(p, sure_ms + (2 * seq - 3) * 600_000, START_MS + seq * 5000)
    clock.run(mirror)
    settled(engine)
    assert (engine.reader().read(FURNACE, *ALL).t_ms - START_MS).tolist() == [0, 5000]
    set_ms = START_MS + 19_000
    with store.batch() as batch:  # the board's clock is set: all of this boot is placed by it
        batch.pack(pack(4, rows([0], tank=[0.4]), uptime_ms=20_000, base_ms=set_ms), clock.now_ms, set_ms)
        for seq in range(4):
            batch.place(FURNACE, "b1", seq, START_MS + seq * 5000 - 1000)
    clock.run(mirror)
    settled(engine)
    # what was sent before its place was known for good stays there; nothing is missing where it belongs
    times = (engine.reader().read(FURNACE, *ALL).t_ms - START_MS).tolist()
    assert times == [-1000, 0, 4000, 5000, 9000, 14000, 19000]


def test_what_arrives_after_the_hosts_clock_was_set_back_is_not_missed(store, engine, clock):
    mirror = Mirror(store, engine.line_server())
    packs = list(day_packs(1))
    put(store, *packs[:50], received_ms=START_MS + 50 * HOUR_MS)
    clock.run(mirror)
    put(store, *packs[50:], received_ms=START_MS + 2 * HOUR_MS)
    clock.run(mirror)
    assert_mirrored(store, engine)


def test_events_and_alarms_arrive_as_numbers_with_few_tags(store, engine, clock):
    refill = Event(
        FURNACE, "refill", START_MS, START_MS + 9100, {"on_time_s": 9, "full": True, "why": "x", "dip_K": None}
    )
    cleared = dataclasses.replace(ALARM, cleared_ms=START_MS + 60_000)
    mirror = Mirror(store, engine.line_server())
    with store.batch() as batch:
        batch.events(put=[refill])
        batch.alarms(put=[ALARM])
        batch.announce(FURNACE, START_MS, {"online": True})
    clock.run(mirror)
    with store.batch() as batch:
        batch.alarms(put=[cleared])
    clock.run(mirror)
    settled(engine)
    if engine.kind == "influxdb":
        both = "SELECT * FROM sootline_event; SELECT * FROM sootline_alarm"
        path, query = "/query", {"db": "sootline", "epoch": "ms", "q": both}
        with urllib.request.urlopen(f"{engine.url}{path}?{urllib.parse.urlencode(query)}", timeout=30) as answer:
            told = [series for result in json.load(answer)["results"] for series in result["series"]]
        series = {s["name"]: [dict(zip(s["columns"], v, strict=True)) for v in s["values"]] for s in told}
        (event,) = series["sootline_event"]
        assert event == {
            "time": START_MS,
            "furnace": FURNACE,
            "kind": "refill",
            "duration_s": 9.1,
            "on_time_s": 9,
            "full": 1,
        }
        assert [
            (a["time"], a["alarm"], a["channel"], a["standing"], a["priority"]) for a in series["sootline_alarm"]
        ] == [
            (START_MS, "preheat-slow", "tank", 1, 2),
            (START_MS + 60_000, "preheat-slow", "tank", 0, 2),
        ]
    else:
        match = urllib.parse.urlencode({"match[]": '{__name__=~"sootline_(event|alarm)_.*"}'})
        with urllib.request.urlopen(f"{engine.url}/api/v1/export?{match}", timeout=30) as answer:
            series = [json.loads(line) for line in answer.read().splitlines()]
        told = {s["metric"]["__name__"]: (s["timestamps"], s["values"]) for s in series}
        assert told == {
            "sootline_event_duration_s": ([START_MS], [9.1]),
            "sootline_event_on_time_s": ([START_MS], [9]),
            "sootline_event_full": ([START_MS], [1]),
            "sootline_alarm_standing": ([START_MS, START_MS + 60_000], [1, 0]),
            "sootline_alarm_priority": ([START_MS, START_MS + 60_000], [2, 2]),
        }
        assert all(set(s["metric"]) <= {"__name__", "furnace", "kind", "alarm", "channel"} for s in series)


@pytest.mark.parametrize("engine", ["influxdb"], indirect=True)  # the one that refuses a field whose type has changed
def test_a_line_the_server_will_never_take_is_told_and_the_rest_goes_on(store, engine, clock):
    server = engine.line_server()
    assert server.write([f'sootline,furnace={FURNACE} tank="text" {START_MS - 1000}']) == []
    deliver(store, [pack(0, rows([0], tank=[60.0])), *(pack(i, rows([0], stack=[float(i)])) for i in range(1, 9))])
    refused = clock.run(Mirror(store, server))
    assert refused and all("tank=60.0" in line for line in refused)
    assert engine.reader().read(FURNACE, *ALL, ("stack",)).values["stack"].tolist() == list(range(1, 9))


def test_a_wrong_bucket_or_address_is_said(store, engine):
    deliver(store, [pack(0)])
    with pytest.raises(ServerUnavailable, match="does not answer"):
        Mirror(store, LineServer("http://127.0.0.1:9")).step(NOW_MS)
    if engine.kind == "influxdb":
        with pytest.raises(UserError, match="check address, token and bucket 'nowhere'"):
            Mirror(store, LineServer(engine.url, "nowhere")).step(NOW_MS)
