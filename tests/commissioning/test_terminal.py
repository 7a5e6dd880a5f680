"""The command in a real terminal and with typed lines, against a real store; the record outlives a kill."""

import contextlib
import io
import json
import os
import pty
import select
import signal
import subprocess
import sys
import time
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from sootline import cli, walkthrough
from sootline.commissioning.evaluate import evaluate
from sootline.commissioning.record import Record
from sootline.commissioning.steps import STEPS, Field
from sootline.errors import UserError
from sootline.files import commissioning
from sootline.series import Rows, SensorFault
from sootline.store import Store
from sootline.units import GALLON_L, INCH_WATER_PA, SYSTEMS, System
from sootline.wire.encode import packs
from sootline.wire.pack import Pack, parse
from tests.commissioning.test_record import GOOD, everything

CHANNELS = {"stack": 0.417, "tank": 65.0, "nozzle": 95.0, "pump": 0.0}
TODAY = date.today()


def fill(data: Path, old_s: float = 5.0, faults: tuple[SensorFault, ...] = ()) -> None:
    """A minute of readings, the newest old_s ago."""
    now_ms = time.time_ns() // 1_000_000
    t_ms = now_ms - round(1000 * old_s) - 5000 * np.arange(11, -1, -1)
    rows = Rows(t_ms, {name: np.full(12, value) for name, value in CHANNELS.items()}, {}, faults)
    with Store.open(data) as store, store.batch() as batch:
        for encoded in packs(rows, "engine-shed", "b1", int(t_ms[0]), samples=200, first_seq=0):
            pack = parse("engine-shed", encoded.payload)
            assert isinstance(pack, Pack) and pack.base_ms is not None
            batch.pack(pack, now_ms, pack.base_ms)


@pytest.fixture
def data(tmp_path: Path) -> Path:
    fill(tmp_path)
    return tmp_path


class Typist:
    """Somebody at a terminal: waits for a prompt, then types a line."""

    def __init__(self, *arguments: str) -> None:
        self._own, other = pty.openpty()
        self.process = subprocess.Popen(
            [sys.executable, "-m", "sootline", "commission", *arguments],
            stdin=other, stdout=other, stderr=other, close_fds=True, start_new_session=True,
        )  # fmt: skip
        os.close(other)
        self.seen = ""
        self._from = 0

    def wait_for(self, words: str, timeout_s: float = 30.0) -> None:
        until = time.monotonic() + timeout_s
        while words not in self.seen[self._from :]:
            ready, _, _ = select.select([self._own], [], [], max(0.0, until - time.monotonic()))
            assert ready, f"no {words!r} in: {self.seen[self._from :]}"
            try:
                self.seen += os.read(self._own, 65536).decode().replace("\r\n", "\n")
            except OSError as error:  # the other side has gone
                raise AssertionError(f"ended without {words!r}: {self.seen[self._from :]}") from error
        self._from = self.seen.index(words, self._from) + len(words)

    def type(self, line: str) -> None:
        os.write(self._own, f"{line}\n".encode())

    def close(self) -> int:
        return self.process.wait(30)

    def interrupt(self) -> int:
        """Ctrl-C, again where it came between the prompt and the reading."""
        for _ in range(10):
            self.process.send_signal(signal.SIGINT)
            with contextlib.suppress(subprocess.TimeoutExpired):
                return self.process.wait(3)
        raise AssertionError("it does not end")

    def __enter__(self) -> "Typist":
        return self

    def __exit__(self, *_: object) -> None:
        self.process.kill()
        self.process.wait()
        os.close(self._own)


def typed(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, lines: str, *arguments: str) -> str:
    """What the command says to these lines."""
    monkeypatch.setattr(sys, "stdin", io.StringIO(lines))
    assert cli.main(["commission", "engine-shed", *arguments]) == 0
    return capsys.readouterr().out


def test_a_walk_in_a_terminal_left_and_taken_up_again(data: Path) -> None:
    with Typist("engine-shed", "--data", str(data)) as person:
        person.wait_for("to do. Local codes")
        person.wait_for("Caution: Extra-low voltage only")
        person.wait_for("q: leave > ")
        person.type("")
        for name, ask in (("wrong_inputs", "inputs that"), ("hours", "soak [h]"), ("resets", "resets"),
                          ("faults", "faults"), ("rssi", "[dBm]")):  # fmt: skip
            person.wait_for(ask)
            person.type("12" if name == "hours" else str(GOOD["bench"][name]))
        person.wait_for("your name: ")
        person.type("Maud")
        person.wait_for("refused: The soak lasts 24 hours.")
        person.wait_for("q: leave > ")
        person.type("s")
        person.wait_for("Ice point (day tank)")
        person.wait_for("q: leave > ")
        person.type("s")
        person.wait_for("Ice point (nozzle oil)")
        person.wait_for("q: leave > ")
        person.type("s")
        person.wait_for("Ice point (stack)")
        person.wait_for("q: leave > ")
        person.type("")
        person.wait_for("kind of probe")
        person.type("thermocuple")
        person.wait_for("choose one of thermocouple")
        person.type("thermocouple")
        person.wait_for("(Enter: take it from stack now): ")
        person.type("")
        person.wait_for("0.42 °C, ")
        person.wait_for("your name (Enter: Maud): ")
        person.type("")
        person.wait_for("accepted\n  offset 0.42 K")
        person.wait_for("q: leave > ")
        person.type("q")
        person.wait_for("Left. What was accepted is kept")
        assert person.close() == 0

    record = commissioning.load(data, "engine-shed")
    assert record is not None
    (entry,) = record.entries
    assert (entry.step, entry.channel, entry.by, entry.on) == ("ice_point", "stack", "Maud", TODAY)
    assert entry.values["reading_C"] == pytest.approx(0.417, abs=0.005)

    with Typist("engine-shed", "--data", str(data)) as again:
        again.wait_for("Bench test")
        again.type("q")
        again.wait_for("1 of ")
        assert again.close() == 0


def test_an_interrupted_person_loses_nothing(data: Path) -> None:
    commissioning.add(data, "engine-shed", "float_travel", TODAY, "Jory", GOOD["float_travel"])
    with Typist("engine-shed", "--data", str(data), "--step", "refill_delivery") as person:
        person.wait_for("q: leave > ")
        person.type("")
        person.wait_for("oil caught [L]: ")
        assert person.interrupt() == 130
    record = commissioning.load(data, "engine-shed")
    assert record is not None and [entry.step for entry in record.entries] == ["float_travel"]


@pytest.mark.parametrize(
    ("old_s", "fault", "says"),
    [
        (400.0, None, "Stack: the newest reading is 6 min ago; wait for a new one"),
        (200_000.0, None, "Stack: no reading has come in the last day"),
        (5.0, "open", "Stack: the board reports 'probe circuit open'; mend it first"),
    ],
)
def test_a_reading_that_is_old_or_bad_is_refused_in_one_line(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    old_s: float,
    fault: str | None,
    says: str,
) -> None:
    now_ms = time.time_ns() // 1_000_000
    fill(tmp_path, old_s, (SensorFault(now_ms - 2000, "stack", fault),) if fault else ())
    out = typed(capsys, monkeypatch, "\npt1000\n\n", "--data", str(tmp_path), "--step", "ice_point/stack")
    assert says in out and "accepted\n" not in out
    assert commissioning.load(tmp_path, "engine-shed") is None


def test_what_is_refused_may_be_tried_again(
    data: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Enter gives the values and the name again that were given before."""
    lines = "\n0.4 0.5 0.6\nMaud\n\n0,44 0,45; 0.46\n\n"
    out = typed(capsys, monkeypatch, lines, "--data", str(data), "--step", "float_travel")
    assert "refused: The runs differ by 40%" in out and "(Enter: 0.4 0.5 0.6 L)" in out and "(Enter: Maud)" in out
    assert out.index("refused") < out.index("accepted\n") and "differential 0.45 L" in out
    lines = "\n2\n50\n4\n15\n0.2\nJory\n\n\n66\n\n\n\n\n"
    out = typed(capsys, monkeypatch, lines, "--data", str(data), "--step", "refill_delivery")
    assert "refused: Timed 50 s" in out and "accepted\n" in out
    record = commissioning.load(data, "engine-shed")
    assert record is not None and record.entries[-1].values == {**GOOD["refill_delivery"], "pump_A": 0.2}


def test_a_boiling_point_in_the_wrong_unit_is_no_traceback(
    data: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    out = typed(
        capsys, monkeypatch, "\n0.4\n100.2\n29.92\nMaud\nq\n", "--data", str(data), "--step", "boiling_point/stack"
    )
    assert "refused: boiling point: 2992 Pa is outside" in out


def test_qualified_work_asks_for_the_one_who_did_it(
    data: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    lines = "\n-10\n5\n1\n500\n230\nJory\nq\n"
    out = typed(capsys, monkeypatch, lines, "--data", str(data), "--step", "combustion")
    assert "qualified technician only" in out and "technician or electrician who did it: " in out
    assert "refused: CO is over 400 ppm" in out


def test_us_units_in_the_terminal_and_si_in_the_record(
    data: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    lines = "\nthermocouple\n32.9\nMaud\n"
    out = typed(capsys, monkeypatch, lines, "--data", str(data), "--step", "ice_point/stack", "--units", "us")
    assert "reading in ice [°F]" in out and "offset 0.9 °F" in out
    record = commissioning.load(data, "engine-shed")
    assert record is not None and record.entries[0].values["reading_C"] == pytest.approx(0.5)


def test_list_tells_state_waiting_and_due(
    data: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    out = typed(capsys, monkeypatch, "", "--data", str(data), "--list")
    assert "[ ] Bench test" in out and "verdicts wait for no step until the first is" in out
    assert "ice_point/return_air" not in out, "not fitted"
    long_ago = TODAY - timedelta(days=400)
    commissioning.add(data, "engine-shed", "ice_point", long_ago, "Maud", GOOD["ice_point"], "tank")
    commissioning.add(data, "engine-shed", "ice_point", TODAY, "Maud", GOOD["ice_point"], "nozzle")
    out = typed(capsys, monkeypatch, "", "--data", str(data), "--list")
    since = (long_ago + timedelta(days=365)).isoformat()
    assert "[!] Ice point (day tank)" in out and f"Ice point (day tank): due again since {since}" in out
    assert "[x] Ice point (nozzle oil)" in out
    assert "Burns more oil than usual: needs the commissioning step" in out
    assert "Oil warms up too slowly" not in out, "its steps are done"
    found = json.loads(typed(capsys, monkeypatch, "", "--data", str(data), "--json"))
    states = {(row["step"], row["channel"]): row["state"] for row in found["steps"]}
    assert states["ice_point", "tank"] == "due" and states["ice_point", "nozzle"] == "done"
    assert states["bench", None] == "open"
    assert found["waiting"]["oil-use-high"] == [
        {"step": "senses", "channel": "pump"}, {"step": "float_travel", "channel": None},
    ]  # fmt: skip


def test_the_sheet_holds_every_step_its_caution_and_what_was_noted(
    data: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    commissioning.add(data, "engine-shed", "float_travel", TODAY, "Jory", GOOD["float_travel"])
    out = typed(capsys, monkeypatch, "", "--data", str(data), "--sheet")
    assert out.startswith("# Commissioning: Engine shed (engine-shed)")
    for number, step in enumerate(STEPS, start=1):
        assert f"## {number}. {step.title}" in out and step.how in out and step.caution in out
    assert "oil drained, each time: 0.44 0.45 0.46 L" in out
    assert "result: differential 0.45 L" in out and "result: runs differ by 4.4%" in out
    assert "reading in ice: ______ °C" in out


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("no-such",), "there is no furnace 'no-such' in {data}; there are engine-shed"),
        (("../etc",), "is no name of a furnace"),
        (("engine-shed", "--step", "icepoint"), "there is no step 'icepoint' here; there are bench, ice_point"),
        (("engine-shed", "--step", "ice_point/room"), "there are ice_point/tank, ice_point/nozzle, ice_point/stack"),
    ],
)
def test_a_slip_is_one_clear_line(
    data: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], says: str
) -> None:
    assert cli.main(["commission", *arguments, "--data", str(data)]) == 2
    assert says.format(data=data) in capsys.readouterr().err


# values and words


@pytest.mark.parametrize("system", SYSTEMS)
def test_every_value_is_read_back_as_it_is_shown(system: System) -> None:
    """Shown and typed again, a value is the same within what is shown of it."""
    for step in STEPS:
        for field in step.fields:
            value = GOOD[step.key][field.name]
            text = walkthrough.value_words(field, value, system).removesuffix(
                walkthrough.unit_label(field.unit, system)
            )
            assert walkthrough.parse(field, text, system) == (
                value if isinstance(value, str) else pytest.approx(value, rel=5e-3, abs=0.02)
            )


def test_us_units_against_their_definitions() -> None:
    """US gallon 231 cubic inches, inch of water 249.09 Pa, inch of mercury 3386.39 Pa, 32 degF at 0 degC.

    Source: NIST SP 811 (2008), appendix B, from memory.
    """
    assert walkthrough.parse(Field("x", "number", "x", "l"), "1", "us") == pytest.approx(3.785412, abs=1e-5)
    assert walkthrough.parse(Field("x", "number", "x", "Pa"), "-0.04", "us") == pytest.approx(-9.9635, abs=1e-3)
    assert walkthrough.parse(Field("x", "number", "x", "hPa"), "29.92", "us") == pytest.approx(1013.2, abs=0.1)
    assert walkthrough.parse(Field("x", "number", "x", "°C"), "212", "us") == pytest.approx(100)
    assert walkthrough.parse(Field("x", "number", "x", "kPa"), "14", "us") == pytest.approx(96.53, abs=0.01)
    assert walkthrough.parse(Field("x", "number", "x", "mm"), "2", "us") == pytest.approx(50.8)
    assert pytest.approx(3.785412, abs=1e-6) == GALLON_L and pytest.approx(249.089, abs=1e-3) == INCH_WATER_PA


@pytest.mark.parametrize("text", ["", "abc", "1 2", "nan", "inf", "1,5,5"])
def test_no_number_is_refused(text: str) -> None:
    with pytest.raises(UserError):
        walkthrough.parse(Field("x", "number", "x"), text, "si")


def test_every_result_has_words() -> None:
    for step in STEPS:
        values = GOOD[step.key]
        assert bool(walkthrough.result_words(evaluate(step.key, values), "si")) == bool(evaluate(step.key, values))


def test_what_comes_next() -> None:
    record = everything(TODAY - timedelta(days=400))
    found = walkthrough.items(record, CHANNELS, TODAY)
    due = walkthrough.first_open(found)
    assert due is not None and (due.key, due.state) == ("ice_point/tank", "due")
    assert walkthrough.first_open(walkthrough.items(everything(TODAY), CHANNELS, TODAY)) is None
    first = walkthrough.first_open(walkthrough.items(Record("engine-shed"), (), TODAY))
    assert first is not None and first.key == "bench"


# the file


def test_the_record_survives_a_kill_between_write_and_rename(data: Path) -> None:
    commissioning.add(data, "engine-shed", "float_travel", TODAY, "Jory", GOOD["float_travel"])
    before = commissioning.path(data, "engine-shed").read_bytes()
    code = (
        "import os, signal, sys; from datetime import date; from pathlib import Path\n"
        "from sootline.files import commissioning\n"
        "os.replace = lambda *_: os.kill(os.getpid(), signal.SIGKILL)\n"
        "commissioning.add(Path(sys.argv[1]), 'engine-shed', 'float_travel', date.today(), 'Maud',"
        " {'volumes_l': [0.5, 0.5, 0.5]})\n"
    )
    killed = subprocess.run([sys.executable, "-c", code, str(data)], check=False, timeout=60)
    assert killed.returncode == -signal.SIGKILL
    folder = commissioning.path(data, "engine-shed").parent
    assert [path.name for path in folder.glob(".*.new")] == [".engine-shed.json.new"], "it was killed after the write"
    assert commissioning.path(data, "engine-shed").read_bytes() == before
    record = commissioning.add(data, "engine-shed", "float_travel", TODAY, "Maud", {"volumes_l": [0.5, 0.5, 0.5]})
    assert [entry.by for entry in record.entries] == ["Jory", "Maud"]
    assert not list(folder.glob(".*.new"))


def test_page_and_terminal_at_once_lose_no_step(data: Path) -> None:
    code = (
        "import sys; from datetime import date; from pathlib import Path\n"
        "from sootline.files import commissioning\n"
        "for _ in range(20):\n"
        "    commissioning.add(Path(sys.argv[1]), 'engine-shed', 'float_travel', date.today(), sys.argv[2],"
        " {'volumes_l': [0.5, 0.5, 0.5]})\n"
    )
    both = [subprocess.Popen([sys.executable, "-c", code, str(data), name]) for name in ("Maud", "Jory")]
    assert [process.wait(60) for process in both] == [0, 0]
    record = commissioning.load(data, "engine-shed")
    assert record is not None and sorted(entry.by for entry in record.entries) == ["Jory"] * 20 + ["Maud"] * 20


def test_a_record_under_the_wrong_name_is_told(data: Path) -> None:
    commissioning.add(data, "engine-shed", "float_travel", TODAY, "Jory", GOOD["float_travel"])
    commissioning.path(data, "engine-shed").rename(commissioning.path(data, "carriage-shop"))
    with pytest.raises(UserError, match="is the record of 'engine-shed'"):
        commissioning.load(data, "carriage-shop")
