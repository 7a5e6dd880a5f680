"""Generated files are fresh; channels, rules and cautions stand where a builder looks; the booklet prints."""

import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from hardware.generate import __main__ as generator
from hardware.generate.__main__ import main
from hardware.generate.load import FOLDER, REPOSITORY, Hardware
from hardware.generate.outputs import outputs
from hardware.generate.pdf import book_html, build_pdf
from sootline.commissioning.steps import STEPS

README = (FOLDER / "README.md").read_text(encoding="utf-8")
FIRST_SCREEN = README[: README.index("## What it is")]


@pytest.fixture(scope="module")
def texts(hardware: Hardware) -> dict[str, str]:
    return outputs(hardware)


def test_generated_files_are_fresh(texts: dict[str, str]) -> None:
    stale = [path for path, text in texts.items() if (REPOSITORY / path).read_text(encoding="utf-8") != text]
    assert stale == [], "run: make -C hardware"


def test_nothing_else_lies_in_the_output_folder(texts: dict[str, str]) -> None:
    there = {f"hardware/out/{path.name}" for path in (FOLDER / "out").iterdir()}
    assert there == {path for path in texts if path.startswith("hardware/out/")}


def test_generating_twice_gives_the_same_bytes(hardware: Hardware, texts: dict[str, str]) -> None:
    assert outputs(hardware) == texts


def test_each_channel_is_in_the_wiring_table_the_drawings_and_the_readme(
    hardware: Hardware, texts: dict[str, str]
) -> None:
    drawn = " ".join(text for path, text in texts.items() if path.endswith(".svg"))
    for signal in hardware.signals:
        assert signal.id in texts["hardware/out/wiring.md"]
        assert signal.id in drawn
        for channel in signal.channels:
            assert channel in texts["hardware/out/wiring.md"]
            assert f"`{channel}`" in README
        if len(signal.channels) == 1:
            assert signal.channels[0] in drawn


def test_labels_name_every_wire_once(hardware: Hardware, texts: dict[str, str]) -> None:
    labels = re.findall(r"^\| (X\d+\.\d) \|", texts["hardware/out/labels.md"], re.MULTILINE)
    wires = [f"{s.terminal}.{wire.split()[0]}" for s in hardware.signals if s.terminal for wire in s.wires]
    assert sorted(labels) == sorted(wires)
    assert len(set(labels)) == len(labels)


def test_terminals_have_as_many_poles_as_wires(hardware: Hardware) -> None:
    for signal in hardware.signals:
        if signal.terminal:
            assert len(hardware.sensor_board.part(signal.terminal).pins) == len(signal.wires)


@pytest.mark.parametrize(
    "caution",
    [
        "only listens",
        "not a safety device",
        "licensed electrician",
        "qualified oil-heat technician",
        "lock out, prove\n  dead",
        "No mains in the sensor box",
        "primary safety control",
        "barometric damper",
        "UL 2034",
        "EN 50291",
        "NFPA 31",
        "NFPA 70",
        "CSA B139",
        "40 CFR 279.23",
        "IEC 60364",
        "insurer",
        "spill tray",
        "petrol",
        "extinguisher",
    ],
)
def test_cautions_are_on_the_first_screen(caution: str) -> None:
    assert caution in FIRST_SCREEN


def test_the_readme_promises_no_control() -> None:
    for text in (README, *(path.read_text(encoding="utf-8") for path in (FOLDER / "out").glob("*.md"))):
        assert not re.search(r"\b(controls|switches on|switches off|turns on|turns off|starts|stops) the burner", text)


def test_every_rule_is_told(hardware: Hardware, texts: dict[str, str]) -> None:
    for name, rule in hardware.rules.items():
        assert f"| {name} |" in README
        assert rule["text"] in texts["hardware/out/senses.md"]


def test_every_commissioning_step_is_in_the_readme_and_on_the_sheet(texts: dict[str, str]) -> None:
    sheet = texts["hardware/out/commissioning-sheet.md"]
    for number, step in enumerate(STEPS, 1):
        assert f"{number}. **{step.title}**" in README
        assert f"## {number}. {step.title}" in sheet
        assert step.caution in sheet
        assert all(field.ask in sheet for field in step.fields)
        if step.yearly:
            assert re.search(rf"Every year: [^.]*\b{number}\b", README)


def test_every_link_and_picture_of_the_readme_exists() -> None:
    targets = re.findall(r"\]\(([^)]+)\)", README)
    assert len(targets) > 15
    assert [target for target in targets if not (FOLDER / target).exists()] == []


def test_every_drawing_is_in_the_book() -> None:
    drawings = {f"out/{path.name}" for path in (FOLDER / "out").glob("*.svg")}
    shown = set(re.findall(r'src="([^"]+)"', book_html()))
    assert drawings
    assert shown == drawings


def test_every_test_file_is_named_in_the_readme() -> None:
    names = {path.name for path in Path(__file__).parent.glob("test_*.py")}
    assert {name for name in names if f"`{name}`" not in README} == set()


def test_generator_refuses_unknown_words(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["everything"]) == 2
    assert "usage" in capsys.readouterr().err


def test_generator_writes_nothing_from_data_with_a_mistake(
    broken: Callable[..., Hardware], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    wrong = broken(("pinmap.toml", "esp32 = 32,", "esp32 = 0,"))
    monkeypatch.setattr(generator, "load", lambda: wrong)
    monkeypatch.setattr(generator, "outputs", lambda hardware: pytest.fail("must not generate"))
    assert main([]) == 1
    assert "pinmap di_refill on esp32: GPIO0 is read at reset" in capsys.readouterr().err


def test_the_book_holds_every_chapter() -> None:
    html = book_html()
    for title in ("Before anything else", "Senses", "Wiring", "Terminal labels", "Parts list", "Commissioning sheet"):
        assert title in html


@pytest.mark.skipif(shutil.which("chromium") is None, reason="Chromium is missing: apt-get install chromium")
def test_the_booklet_prints_with_cautions_on_its_first_page(tmp_path: Path) -> None:
    path = build_pdf(tmp_path / "book.pdf")
    assert path.read_bytes().startswith(b"%PDF-")
    assert path.stat().st_size > 100_000
    if shutil.which("pdftotext"):
        first = subprocess.run(["pdftotext", "-l", "1", path, "-"], capture_output=True, text=True, check=True).stdout
        assert "only listens" in first
        assert "licensed electrician" in first
