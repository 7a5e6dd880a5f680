"""README and DEVELOPERS say what is there."""

import pkgutil
import re
from pathlib import Path

import pytest

from sootline import commands
from sootline.analysis.catalogue import KINDS
from sootline.analysis.detect import DETECTORS
from sootline.analysis.offline import ALARM as OFFLINE
from sootline.analysis.settings import table

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text()
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text()


def test_the_readme_lists_every_alarm_that_can_be_raised_and_no_other() -> None:
    listed = set(re.findall(r"^\| `([a-z-]+)` \|", README.partition("## The alarms")[2], re.M))
    assert listed == {detector.alarm for detector in DETECTORS} | {OFFLINE}
    assert listed <= set(KINDS)


def test_the_readme_names_every_command() -> None:
    names = {module.name for module in pkgutil.iter_modules(commands.__path__) if not module.name.startswith("_")}
    assert {name for name in names if f"sootline {name}" not in README} == set()


def test_the_readme_opens_with_the_job_then_the_cautions_then_two_commands() -> None:
    headings = re.findall(r"^#+ (.*)$", README, re.M)
    assert headings[:3] == ["sootline", "Cautions", "See it, test it"]
    assert README.index("make demo") < README.index("## Use it")


@pytest.mark.parametrize(
    "path", sorted(set(re.findall(r"`((?:host|firmware|hardware|tests)/[\w./]+)`", README + DEVELOPERS)))
)
def test_paths_named_in_the_docs_exist(path: str) -> None:
    assert (ROOT / path).exists()


@pytest.mark.parametrize(
    "name", sorted(set(re.findall(r"`((?:analysis|wire|ingest|commands|web|advice)/[\w./]+\.py)`", DEVELOPERS)))
)
def test_host_files_named_in_developers_exist(name: str) -> None:
    assert (ROOT / "host" / "sootline" / name).exists()


def test_every_setting_has_a_unit_and_a_reason() -> None:
    for field in table():
        assert field.metadata["unit"] and field.metadata["reason"], field.name


@pytest.mark.parametrize("detector", DETECTORS, ids=lambda detector: detector.alarm)
def test_every_detector_says_its_rule_its_errors_and_what_it_is_blind_to(detector: type) -> None:
    text = detector.__doc__ or ""
    for part in ("The owner sees", "Rule", "Wrong:", "Blind to:"):
        assert part in text, f"{detector.__name__} does not say '{part}'"
