"""Used-oil batches and the published limits an owner's log can be compared with.

A comparison, not a ruling: which rules apply, and whether burning is allowed at all, is for local law and the
authority in charge. The figures are those of the US federal rules; elsewhere (and in many US states) others apply.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Literal

from sootline.errors import OutOfRange
from sootline.heat.elementwise import check_range
from sootline.heat.refill_use import SPACE_HEATER_LIMIT_W

Source = Literal["own", "household", "other"]
DEFERS = "Compared with US federal figures only; local law decides. Ask the authority before burning used oil."

# 40 CFR 279.11: highest content [ppm by mass].
MAX_PPM = {"arsenic": 5.0, "cadmium": 2.0, "chromium": 10.0, "lead": 100.0, "halogens": 4000.0}
PRESUMPTION_PPM = 1000.0
MIN_FLASH_C = (100.0 - 32.0) / 1.8


@dataclass(frozen=True)
class OilBatch:
    """One batch as logged: day received, source, kind, volume [L], and test results where there are any.

    tests_ppm: any of arsenic, cadmium, chromium, lead, halogens [ppm by mass]; flash_C: flash point [°C].
    """

    received: date
    source: Source
    kind: str
    volume_l: float
    tests_ppm: Mapping[str, float]
    flash_C: float | None = None
    analysis: str = ""

    def __post_init__(self) -> None:
        check_range("batch volume", self.volume_l, 0.0, 1e6, "L")
        unknown = set(self.tests_ppm) - set(MAX_PPM)
        if unknown:
            raise OutOfRange(f"unknown test {sorted(unknown)[0]!r}; known: {', '.join(MAX_PPM)}, flash point")
        for name, value in self.tests_ppm.items():
            check_range(name, value, 0.0, 1e6, "ppm")


@dataclass(frozen=True)
class Finding:
    """One line of the comparison: what was compared, the result, and the words that say so."""

    item: str
    result: Literal["within", "above", "below", "flagged", "untested"]
    text: str


def specification(batch: OilBatch) -> list[Finding]:
    """Compare a batch with the used-oil fuel specification, item by item; untested items are said to be so.

    Metals and halogens at most the limit [ppm], flash point at least 100 °F [37.8 °C]; halogens of 1000 ppm or more are
    flagged: the oil is presumed hazardous waste unless that is rebutted.
    Raises: OutOfRange from `OilBatch`
    Source: 40 CFR 279.11 table 1, 279.10(b)(1)(ii), 279.63(c); defers to local law.
    """
    findings = []
    for name, limit in MAX_PPM.items():
        value = batch.tests_ppm.get(name)
        if value is None:
            findings.append(Finding(name, "untested", f"{name}: not tested (limit {limit:g} ppm)"))
        elif value > limit:
            findings.append(Finding(name, "above", f"{name} {value:g} ppm is above {limit:g} ppm"))
        elif name == "halogens" and value >= PRESUMPTION_PPM:
            text = f"halogens {value:g} ppm: 1000 ppm or more is presumed hazardous waste unless rebutted"
            findings.append(Finding(name, "flagged", text))
        else:
            findings.append(Finding(name, "within", f"{name} {value:g} ppm is within {limit:g} ppm"))
    findings.append(_flash_finding(batch.flash_C))
    return findings


def _flash_finding(flash_C: float | None) -> Finding:
    if flash_C is None:
        return Finding("flash point", "untested", f"flash point: not tested (at least {MIN_FLASH_C:.1f} °C)")
    if flash_C < MIN_FLASH_C - 1e-9:
        return Finding("flash point", "below", f"flash point {flash_C:.1f} °C is below {MIN_FLASH_C:.1f} °C (100 °F)")
    return Finding("flash point", "within", f"flash point {flash_C:.1f} °C is at least {MIN_FLASH_C:.1f} °C (100 °F)")


def on_specification(batch: OilBatch) -> bool | None:
    """Whether every tested item is within limits: True, False, or None while an item is untested and none fails.

    Source: 40 CFR 279.11 table 1; defers to local law.
    """
    results = {f.result for f in specification(batch)}
    if results & {"above", "below"}:
        return False
    return None if "untested" in results else True


def space_heater_conditions(source: Source, rated_input_W: float, vented_outdoors: bool) -> list[Finding]:
    """Compare with the three federal conditions for burning in a used-oil-fired space heater.

    (1) own used oil, or from household do-it-yourself generators; (2) designed for at most 0.5 million Btu/h
    [146.54 kW]; (3) combustion gases vented to ambient air.
    Raises: OutOfRange
    Source: 40 CFR 279.23; defers to local law.
    """
    check_range("rated input", rated_input_W, 0.0, 1e8, "W")
    over = rated_input_W > SPACE_HEATER_LIMIT_W * (1.0 + 1e-12)
    return [
        Finding("source", "flagged" if source == "other" else "within", f"source of the oil: {source}"),
        Finding(
            "rated input",
            "above" if over else "within",
            f"rated input {rated_input_W / 1000:.4g} kW against {SPACE_HEATER_LIMIT_W / 1000:.4g} kW (500 000 Btu/h)",
        ),
        Finding(
            "vent",
            "within" if vented_outdoors else "flagged",
            "combustion gases vented outdoors" if vented_outdoors else "combustion gases are not vented outdoors",
        ),
    ]


def keep_until(received: date, years: int = 3) -> date:
    """Day until which the batch's analysis is to be kept: three years on; 29 February becomes 1 March.

    Raises: OutOfRange
    Source: 40 CFR 279.72(b), three years; local law may ask for longer.
    """
    check_range("years kept", years, 0, 100, "years")
    try:
        return received.replace(year=received.year + years)
    except ValueError:
        return date(received.year + years, 3, 1)
