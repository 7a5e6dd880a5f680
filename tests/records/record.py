"""One record: its recipe, how it is made, and how it is written to a folder."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from tests.records.packs import Link, messages, write_recording
from tests.records.plant import Plant, draw_plant
from tests.records.sensors import Instruments, Samples, channel_sets, draw_instruments, sample
from tests.records.simulate import Log, Simulation
from tests.records.story import DAY, HOUR, Story
from tests.records.tables import as_table, write_table
from tests.records.truth import Truth, audit
from tests.records.variety import draw_variety, vary_plant, vary_tools
from tests.records.weather import weather

SETS = ("four", "some", "all")


@dataclass(frozen=True)
class Recipe:
    """What a record is made of. ``form``: parquet, csv, uniform (a plain even table) or packs (a recording)."""

    name: str
    seed: int
    days: float
    form: str = "parquet"
    start: str = "2025-11-03"
    zone_h: float = -5.0
    profile: str = "full"
    fixed: dict[str, Any] = field(default_factory=dict)
    happenings: tuple[Callable[[Story], None], ...] = ()
    clean: bool = False
    declared_clean: bool = True
    varied: bool = False


@dataclass
class Record:
    """A finished record."""

    recipe: Recipe
    plant: Plant
    tools: Instruments
    story: Story
    log: Log
    truth: Truth
    start: dt.datetime

    @property
    def furnace(self) -> str:
        """Furnace id."""
        return self.recipe.name

    def samples(self, channel_set: str) -> Samples:
        """What the board of this record would have kept with one channel set."""
        story = self.story
        names = self.truth.channels[channel_set]
        return sample(self.plant, self.log, self.tools, names, story.end, story.sensors, story.gaps, story.clock)


def make(recipe: Recipe) -> Record:
    """Simulate a recipe and work out its truth."""
    rng = np.random.default_rng(recipe.seed)
    plant = draw_plant(rng, recipe.fixed)
    tools = draw_instruments(rng, recipe.form)
    if recipe.varied:
        own = np.random.default_rng([recipe.seed, 1])
        vary_plant(plant, draw_variety(own, recipe.days, plant, recipe.form, not recipe.clean), own)
        tools = vary_tools(tools, recipe.days, own)
    end = recipe.days * DAY
    story = Story(end=end, plant=plant)
    for happening in recipe.happenings:
        happening(story)
    if recipe.form != "packs":
        story.gaps = [gap for gap in story.gaps if gap.kind == "lost"]
    midnight = dt.datetime.fromisoformat(recipe.start).replace(tzinfo=dt.UTC)
    hour = float(rng.uniform(0.0, 0.9))
    start = midnight + dt.timedelta(hours=round(hour - recipe.zone_h, 2))
    outdoor, wind = weather(plant.climate, midnight.timetuple().tm_yday, hour, recipe.days, story.spells, rng)
    sim = Simulation(plant, outdoor, wind, hour, midnight.weekday(), recipe.days, story.edits, story.ramps, recipe.seed)
    log = sim.run()
    profile = make_profile(recipe, plant, tools, rng)
    truth = Truth(plant, log, story, end, profile, channel_sets(plant))
    audit(truth)
    for claim in story.claims:
        claim(truth)
    return Record(recipe, plant, tools, story, log, truth, start)


def make_profile(recipe: Recipe, plant: Plant, tools: Instruments, rng: np.random.Generator) -> dict[str, Any]:
    """The owner's profile: full, typical (no economics, no volumes), sparse or bare."""
    heating = "keep-warm" if plant.keep_warm else "on-call"
    furnace: dict[str, Any] = {"id": recipe.name, "heating": heating}
    if recipe.declared_clean:
        furnace["clean_on"] = dt.date.fromisoformat(recipe.start)
    profile: dict[str, Any] = {
        "_idle_interval_s": tools.interval_s if tools.uniform else tools.idle_interval_s,
        "furnace": furnace,
    }
    if recipe.profile == "bare":
        profile["furnace"] = {"id": recipe.name}
        return profile
    tank, nozzle = plant.tank_heater, plant.nozzle_heater
    profile["refill"] = {"limit_s": plant.limiter_s}
    profile["tank"] = {"limit_C": tank.limit_C}
    profile["nozzle"] = {"limit_C": nozzle.limit_C}
    profile["stack"] = {"limit_C": plant.stack_limit_C}
    if recipe.profile == "sparse":
        return profile
    furnace["rated_input_kW"] = round(plant.rated_kW * float(rng.uniform(1.04, 1.1)), 1)
    profile["tank"] |= {"setpoint_C": tank.setpoint_C, "heater_W": tank.power_W}
    profile["nozzle"] |= {"setpoint_C": nozzle.setpoint_C, "heater_W": nozzle.power_W}
    profile["room"] = {"freeze_C": float(recipe.fixed.get("freeze_C", 3.0))}
    if recipe.profile == "typical":
        return profile
    profile["refill"]["differential_l"] = plant.tank.differential_l
    profile["tank"]["volume_l"] = round(plant.tank.full_l, 1)
    profile["air"] = {"setpoint_kPa": round(plant.air_kPa, 0), "band_kPa": round(0.12 * plant.air_kPa, 0)}
    profile["supply"] = {"volume_l": plant.supply_volume_l, "notice_days": 3.0}
    profile["cleaning"] = {"cost": 80.0, "oil_value_per_l": 0.4}
    return profile


def write(record: Record, folder: Path, sets: tuple[str, ...] = SETS) -> None:
    """Write ``<set>.parquet|csv|ndjson.zst`` for each set, ``profile.toml`` and ``truth.json`` into ``folder``."""
    folder.mkdir(parents=True, exist_ok=True)
    recipe, start = record.recipe, record.start.timestamp()
    for name in sets:
        samples = record.samples(name)
        if recipe.form == "packs":
            link = Link(
                unsynced_s=720.0 if recipe.seed % 2 else 0.0, duplicates=0.01, late=0.01, lost=0.0005, seed=recipe.seed
            )
            lines = messages(samples, start, record.furnace, record.tools, record.story.gaps, link)
            write_recording(lines, folder / f"{name}.ndjson.zst")
        else:
            suffix = "csv" if recipe.form == "csv" else "parquet"
            write_table(
                as_table(samples, round(start * 1000.0), record.furnace, recipe.seed), folder / f"{name}.{suffix}"
            )
    (folder / "profile.toml").write_text(profile_toml(record))
    (folder / "truth.json").write_text(json.dumps(truth_json(record), indent=1))


def data_file(folder: Path, name: str) -> Path | None:
    """The data file of a channel set in a record's folder."""
    return next(iter(sorted(folder.glob(f"{name}.*"))), None)


def profile_toml(record: Record) -> str:
    """The profile as TOML, with the owner's log."""
    lines = []
    for section, keys in record.truth.profile.items():
        if not section.startswith("_"):
            lines += [f"[{section}]", *[f"{key} = {_toml(value)}" for key, value in keys.items()]]
    values = {"tank": record.plant.tank_heater.setpoint_C, "nozzle": record.plant.nozzle_heater.setpoint_C}
    for entry in sorted(record.story.entries, key=lambda e: float(e["t"])):
        if entry["t"] < record.story.end:
            at = record.start + dt.timedelta(seconds=round(entry["t"]))
            lines += ["[[log]]", f"at = {at:%Y-%m-%dT%H:%M:%SZ}", f'kind = "{entry["kind"]}"']
            if "channel" in entry:
                values[entry["channel"]] += entry["shift_K"]
                lines += [f'channel = "{entry["channel"]}"', f"value_C = {values[entry['channel']]}"]
    return "\n".join(lines) + "\n"


def _toml(value: Any) -> str:
    if isinstance(value, dt.date):
        return value.isoformat()
    return f'"{value}"' if isinstance(value, str) else repr(float(value))


def truth_json(record: Record) -> dict[str, Any]:
    """The truth with absolute times, as written beside the record."""

    def iso(t: float) -> str:
        return (record.start + dt.timedelta(seconds=t)).isoformat(timespec="seconds").replace("+00:00", "Z")

    def dated(item: dict[str, Any]) -> dict[str, Any]:
        out = dict(item)
        for key in ("onset", "condition", "earliest", "start", "end"):
            if key in out:
                out[key] = iso(out[key])
        if "latest" in out:
            out["latest"] = {name: iso(t) for name, t in out["latest"].items()}
        return out

    log, truth, end = record.log, record.truth, record.story.end
    days = np.arange(0.0, end / DAY, 0.25)
    foul = np.interp(days * DAY, log.columns["t"], log.columns["foul"])
    return {
        "name": record.recipe.name,
        "seed": record.recipe.seed,
        "days": record.recipe.days,
        "clean": record.recipe.clean,
        "start": iso(0.0),
        "end": iso(end),
        "form": record.recipe.form,
        "channels": truth.channels,
        "notes": record.story.notes,
        "keep_warm": record.plant.keep_warm,
        "rated_kW": record.plant.rated_kW,
        "oil": record.plant.oil.name,
        "interval_s": record.tools.interval_s,
        "idle_interval_s": record.tools.idle_interval_s,
        "expected": [dated(item) for item in sorted(truth.expected, key=lambda e: float(e["condition"]))],
        "expected_suppressed": [dated(item) for item in truth.suppressed],
        "tolerated": [dated(item) for item in record.story.tolerated],
        "stack_rise_K": [
            [iso(d * DAY), round(record.plant.rise_K(f), 3)] for d, f in zip(days.tolist(), foul, strict=True)
        ],
        "series": {name: [[iso(t), round(v, 4)] for t, v in rows] for name, rows in truth.series.items()},
        "pump_runs": [
            [iso(float(r["on"])), round(float(r["off"]) - float(r["on"]), 3), str(r["why"])] for r in log.pump_runs
        ],
        "firings": [[iso(f["valve"]), iso(f["lit"]), iso(f["off"])] for f in log.firings],
        "burning_h": round(sum(f["off"] - f["lit"] for f in log.firings) / HOUR, 2),
        "burned_l": round(log.burned_l, 2),
    }
