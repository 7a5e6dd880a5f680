"""Reports as HTML and PDF, the digests they carry, and what is taken away as tables, by command and by page."""

import io
import json
import re
import shutil
import sys
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import httpx
import numpy as np
import pyarrow.csv as pc
import pyarrow.parquet as pq
import pytest
from playwright.sync_api import Browser
from pypdf import PdfReader

from sootline import cli, profile
from sootline.alarms import Acknowledgement, Alarm
from sootline.files import commissioning
from sootline.messages.message import Message
from sootline.papers.season import season_view
from sootline.series import Rows
from sootline.store import Store
from sootline.web.app import build
from sootline.web.server import Server
from sootline.wire.encode import packs
from sootline.wire.pack import Pack, parse
from tests.commissioning.test_record import GOOD
from tests.heat.history import DAY_MS, HOUR_MS, PROFILE, START_MS, Past
from tests.web.visit import sound
from tests.web.workshop import SIZES, StagedLive, furnace_now

NOW_MS = START_MS + 46 * DAY_MS
KINDS = ("season", "cleaning", "inspection")


def fill(folder: Path) -> Past:
    """A season with a batch, a prediction, a cleaning, its proof, oil with tests, steps, alarms and a tested way."""
    past = Past(folder)
    here = ["--data", str(folder)]
    past.burn(20)
    past.log("batch")
    past.burn(18)
    assert cli.main(["cleaning", past.furnace, "--predict", *here]) == 0
    past.log("cleaning")
    past.burn(8)
    assert cli.main(["cleaning", past.furnace, "--prove", "--ash-kg", "1.1", *here]) == 0
    oil = ["--source", "household", "--kind", "engine-15w-40", "--volume", "200", "--received", "2026-01-10"]
    assert cli.main(["batch", "add", *oil, "--test", "lead=120", "--flash", "93", *here]) == 0
    commissioning.add(folder, past.furnace, "combustion", date(2026, 1, 4), "A. Technician", GOOD["combustion"])
    raised = START_MS + 3 * DAY_MS + 2 * HOUR_MS
    stalled = Alarm(
        past.furnace, "refill-timeout", None, "high", "returned", raised, raised + HOUR_MS, raised, "none",
        "Look at the supply level.", {"on_time_s": 20.0}, acknowledged=Acknowledgement("Maud", raised + 240_000),
    )  # fmt: skip
    told = Message("ABCDEFG", "Maud", "weekly", raised, raised, "Weekly note", "All", state="sent", code="1234")
    with Store.open(folder) as store:
        with store.batch() as batch:
            batch.alarms(put=[stalled])
            batch.messages([told])
        with store.batch() as batch:
            assert batch.confirm("Maud", "1234", "Maud", raised + HOUR_MS)
    return past


@pytest.fixture(scope="module")
def past(tmp_path_factory: pytest.TempPathFactory) -> Past:
    return fill(tmp_path_factory.mktemp("season"))


@pytest.fixture(scope="module")
def made(past: Past, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Each report as it is written, and one in US units: kind to the path without its suffix."""
    into = tmp_path_factory.mktemp("into")
    for kind in KINDS:
        assert cli.main(["report", kind, past.furnace, "--data", str(past.folder), "--into", str(into)]) == 0
    us = ["--us", "--into", str(into / "us")]
    assert cli.main(["report", "season", past.furnace, "--data", str(past.folder), *us]) == 0
    return {**{kind: into / f"{kind}-engine-shed-2026-02-19" for kind in KINDS},
            "us": into / "us" / "season-engine-shed-2026-02-19"}  # fmt: skip


def text_of(path: Path) -> str:
    pages = PdfReader(path.with_suffix(".pdf")).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


@pytest.mark.parametrize("kind", KINDS)
def test_a_report_is_on_a4_defers_and_never_says_that_all_is_well(made: dict[str, Path], kind: str) -> None:
    reader = PdfReader(made[kind].with_suffix(".pdf"))
    for page in reader.pages:
        assert (round(float(page.mediabox.width)), round(float(page.mediabox.height))) == (595, 842)
    assert len(reader.pages) <= 4
    pdf, html = text_of(made[kind]), made[kind].with_suffix(".html").read_text()
    for text in (pdf, " ".join(html.split())):
        assert "Local codes, the authority in charge and licensed practice decide" in text
        assert "safe to run" not in text.lower() and "fit listed CO alarms" in text
    digests = json.loads(made[kind].with_suffix(".json").read_text())
    assert digests["digest"] in pdf and digests["digest"] in html
    assert "http" not in html.replace("https://", "http://").partition("</style>")[2]  # nothing is fetched


def test_the_season_report(made: dict[str, Path]) -> None:
    """46 days of 4 firings of 2 h, 18 refills of 0.45 L each at 65 °C (x 0.964 at 15 °C)."""
    text = text_of(made["season"])
    assert "Season report, Engine shed" in text and "Days with fire 46" in text and "Burning hours 368 h" in text
    litres = re.search(r"Oil burned (\d+) ± \d+ L", text)
    assert litres is not None and abs(int(litres[1]) - 46 * 4 * 18 * 0.45 * 0.964) < 8
    assert "A technician" not in text and "2026-01-04, A. Technician" in text
    assert "as predicted" not in text and " hit " in text and "Hits: 1 of 1 predictions" in text
    assert re.search(r"Oil per degree day [\d.]+ ± [\d.]+ L/\(K d\)", text)
    assert "Alarms that called 1" in text and "At night 1" in text and "4 min" in text
    html = made["season"].with_suffix(".html").read_text()
    assert html.count("<svg") == 2 and "<style>" in html and "<link" not in html


def test_the_same_in_us_units(made: dict[str, Path]) -> None:
    text = text_of(made["us"])
    gallons = re.search(r"Oil burned ([\d.]+) ± [\d.]+ gal", text)
    assert gallons is not None and abs(float(gallons[1]) - 46 * 4 * 18 * 0.45 * 0.964 / 3.785411784) < 3
    assert "°F" in text and not re.search(r"\d (°C|L|kPa)\b", text)


def test_the_cleaning_report(made: dict[str, Path]) -> None:
    text = text_of(made["cleaning"])
    assert "No date yet: 1 days are too few for a fouling course" in text  # 32 firings in the eight days since
    assert re.search(r"12 Feb 2026 4\d ± \d+ °C 4\d ± \d+ °C, written 1[12] Feb 2026 hit", text)
    assert "mask on, ash sealed" in text


def test_the_inspectors_pack(made: dict[str, Path]) -> None:
    text = text_of(made["inspection"])
    for said in (
        "From households 200 L 1", "lead 120 ppm is above 100 ppm", "Outside a limit of 40 CFR 279.11",
        "keep its papers until 2029-01-10", "Refill stalled 1 h Maud, after 4 min", "Combustion set-up A. Technician",
        "local law decides", "They need a licensed technician", "Cleaned heat exchanger",
    ):  # fmt: skip
        assert said in text, said
    assert re.search(r"Maud sent Maud, 8 Jan 2026", text)


def verify(past_folder: Path, path: Path, capsys: pytest.CaptureFixture[str]) -> tuple[int, str]:
    capsys.readouterr()
    status = cli.main(["report", "verify", str(path), "--data", str(past_folder)])
    return status, capsys.readouterr().out


def test_what_is_unchanged_is_proved_so(
    made: dict[str, Path], past: Past, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Also on a copy, after its days have been sealed, and when somebody has an alarm only later."""
    for suffix in (".html", ".json"):
        status, out = verify(past.folder, made["inspection"].with_suffix(suffix), capsys)
        assert status == 0 and "unchanged" in out
    assert cli.main(["store", "backup", "--data", str(past.folder), str(tmp_path / "copy")]) == 0
    with Store.open(tmp_path / "copy") as store:
        sealed = store.compact(NOW_MS + 60 * DAY_MS)
        assert sealed.days_sealed > 30
        (alarm,) = store.alarms()
        with store.batch() as batch:
            batch.acknowledge(alarm.key, "Jory", NOW_MS)
    status, out = verify(tmp_path / "copy", made["inspection"].with_suffix(".json"), capsys)
    assert status == 0, out


def test_what_has_changed_is_named(
    made: dict[str, Path], past: Past, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = made["inspection"].with_suffix(".json")
    shutil.copytree(past.folder, tmp_path / "data")
    own = Past(tmp_path / "data")
    t_ms = START_MS + 5 * DAY_MS + np.arange(5, dtype=np.int64) * 1000
    with Store.open(own.folder) as store, store.batch() as batch:  # what a board had held back comes late
        for encoded in packs(Rows(t_ms, {"tank": np.full(5, 66.0)}), own.furnace, "late", int(t_ms[0])):
            pack = parse(own.furnace, encoded.payload)
            assert isinstance(pack, Pack) and pack.base_ms is not None
            batch.pack(pack, NOW_MS, pack.base_ms)
    status, out = verify(own.folder, path, capsys)
    assert status == 1 and "2026-01-10: changed" in out and out.count(": changed") == 1
    (own.folder / "oil" / "batches.jsonl").write_text("")
    status, out = verify(own.folder, path, capsys)
    assert status == 1 and re.search(r"oil +1 table changed", out)


def test_a_file_that_was_tampered_with_is_refused(
    made: dict[str, Path], past: Past, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    digests = json.loads(made["season"].with_suffix(".json").read_text())
    digests["tables"]["log"]["all"] = "0" * 64
    path = tmp_path / "own.json"
    path.write_text(json.dumps(digests))
    for content, said in ((path.read_text(), "has been changed"), ("{}", "holds no digests"), ("<p>", "holds no")):
        path.write_text(content)
        assert cli.main(["report", "verify", str(path), "--data", str(past.folder)]) == 2
        assert said in capsys.readouterr().err
    assert cli.main(["report", "verify", str(tmp_path / "none"), "--data", str(past.folder)]) == 2


def test_what_cannot_be_reported_is_told(past: Past, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    here = ["--data", str(past.folder), "--into", str(tmp_path)]
    for wrong, said in (
        (["season", "barn"], "no furnace 'barn'"),
        (["season", past.furnace, "--from", "soon"], "'soon' is no day"),
        (["season", past.furnace, "--from", "2030-01-01"], "at least a day of readings"),
    ):
        assert cli.main(["report", *wrong, *here]) == 2
        assert said in capsys.readouterr().err


def test_without_what_makes_a_pdf_the_html_is_offered(
    past: Past, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    arguments = ["report", "season", past.furnace, "--data", str(past.folder), "--into", str(tmp_path)]
    assert cli.main(arguments) == 2 and "sootline[pdf]" in capsys.readouterr().err
    assert cli.main([*arguments, "--no-pdf"]) == 0
    assert {path.suffix for path in tmp_path.iterdir()} == {".html", ".json"}


# the pages


@pytest.fixture(scope="module")
def server(past: Past) -> Iterator[Server]:
    live = StagedLive()
    live.put(furnace_now(now_ms=NOW_MS), furnace_now("carriage-shop", now_ms=NOW_MS))
    server = Server(build(live, past.folder, now=lambda: NOW_MS), port=0)
    server.start()
    yield server
    server.stop()


@pytest.fixture
def client(server: Server) -> Iterator[httpx.Client]:
    with httpx.Client(base_url=server.url, follow_redirects=True, timeout=60) as made:
        yield made


def test_reports_are_read_and_printed_from_the_page(client: httpx.Client, made: dict[str, Path]) -> None:
    for kind in KINDS:
        page = client.get(f"/furnace/engine-shed/reports/{kind}.html")
        assert page.status_code == 200 and "<style>" not in page.text and "As PDF" in page.text
        kept = client.get(f"/furnace/engine-shed/reports/{kind}.html?keep=1")
        assert "attachment" in kept.headers["Content-Disposition"] and "<style>" in kept.text
        digest = json.loads(made[kind].with_suffix(".json").read_text())["digest"]
        assert digest in kept.text  # the same rows as the command's
    pdf = client.get("/furnace/engine-shed/reports/cleaning.pdf")
    assert pdf.headers["Content-Type"] == "application/pdf"
    assert "Cleaning report, Engine shed" in PdfReader(io.BytesIO(pdf.content)).pages[0].extract_text()
    assert client.get("/furnace/engine-shed/reports/season.html?from=soon").status_code == 400
    for absent in ("engine-shed/reports/season.doc", "engine-shed/reports/x.html", "barn/reports/season.html"):
        assert client.get(f"/furnace/{absent}").status_code == 404


def test_every_table_can_be_taken_away(client: httpx.Client, past: Past, tmp_path: Path) -> None:
    out = tmp_path / "out"
    assert cli.main(["store", "export", str(out), "--what", "everything", "--data", str(past.folder)]) == 0
    for path in out.iterdir():
        parquet = client.get(f"/furnace/engine-shed/tables/{path.name}")
        assert pq.read_table(io.BytesIO(parquet.content)).equals(pq.read_table(path))
        csv = client.get(f"/furnace/engine-shed/tables/{path.stem}.csv")
        assert pc.read_csv(io.BytesIO(csv.content)).num_rows == pq.read_table(path).num_rows
        assert f"engine-shed-{path.stem}.csv" in csv.headers["Content-Disposition"]
    part = client.get("/furnace/engine-shed/tables/log.csv?from=2026-02-01").text
    assert "cleaning" in part and "batch" not in part
    for absent in ("engine-shed/tables/secrets.csv", "engine-shed/tables/log.exe", "barn/tables/log.csv"):
        assert client.get(f"/furnace/{absent}").status_code == 404


def test_without_data_there_is_nothing_to_report(client: httpx.Client) -> None:
    assert "No data yet" in client.get("/furnace/carriage-shop/reports").text
    assert client.get("/furnace/carriage-shop/reports/season.html").status_code == 404


@pytest.mark.parametrize("size", SIZES)
def test_the_reports_in_a_browser(server: Server, browser: Browser, size: str) -> None:
    page = browser.new_page(viewport=SIZES[size])  # type: ignore[arg-type]
    errors: list[str] = []
    page.on("console", lambda message: errors.append(message.text) if message.type == "error" else None)
    page.goto(f"{server.url}furnace/engine-shed/reports")
    sound(page)
    page.get_by_role("button", name="Read").first.click()
    assert page.inner_text("h1") == "Season report, Engine shed"
    sound(page)
    assert not errors
    page.close()


def test_the_same_days_a_year_before_stand_beside_a_season(tmp_path: Path) -> None:
    first = Past(tmp_path)
    first.burn(10)
    later = Past(tmp_path, day=365)
    later.burn(10, refills=12)
    with Store.open(tmp_path, read_only=True) as store:
        own = profile.parse(PROFILE)
        start_ms = START_MS + 365 * DAY_MS
        view = season_view(store, own, start_ms, start_ms + 10 * DAY_MS, None, "si")
        (fact,) = (f for f in view.facts if f.name == "The same days a year before")
        assert re.fullmatch(r"80 h of fire, 40 starts, 31[0-9] L of oil", fact.value)  # 720 refills of 0.45 L at 65 °C
        assert not [f for f in season_view(store, own, START_MS, START_MS + 10 * DAY_MS, None, "si").facts
                    if f.name == fact.name]  # fmt: skip
