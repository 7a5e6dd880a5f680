"""Prediction before, proof after a cleaning: what the ledger of one furnace is told."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from sootline.advice import ledger, limits
from sootline.advice.burned import burned, day_of
from sootline.errors import OutOfRange, UserError
from sootline.heat.ash import AshBudget
from sootline.heat.elementwise import FloatArray
from sootline.heat.proof import Ledger, Outcome, Prediction, measured_drop, verdict
from sootline.profile import Profile
from sootline.store import Store

SIDE = 10  # firings on each side of a cleaning
FRAME = 60  # firings before it that tell how weather moves this stack
COVARIATES = ("outdoor_end", "air_pressure_end", "nozzle_end")  # those of analysis/follow/steady.py


def predict(path: Path, now_ms: int, rise: tuple[float, float], ash: AshBudget | None) -> str:
    """Write the prediction down; what was written, in words. Raises: UserError while one is open"""
    with ledger.alone(path):
        return _predict(path, now_ms, rise, ash)


def _predict(path: Path, now_ms: int, rise: tuple[float, float], ash: AshBudget | None) -> str:
    kept = ledger.load(path)
    expected = None if ash is None or ash.kept_kg <= 0 else ash.kept_kg
    try:
        kept = kept.predict(Prediction(now_ms, float(rise[0]), float(rise[1]), expected))
    except OutOfRange:
        first = kept.rows[-1].prediction
        raise UserError(
            f"{path}: {first.drop_K:.0f} K were predicted on {day_of(first.written_ms)}, and stand until the cleaning "
            "is compared (--prove)"
        ) from None
    ledger.append(path, kept)
    return f"Written down: cleaning should bring the stack down by {rise[0]:.0f} ± {rise[1]:.0f} K ({path})"


def prove(store: Store, profile: Profile, now_ms: int, folder: Path, ash_kg: float | None) -> dict[str, Any]:
    """Compare the drop at the first cleaning after the prediction with it, and write the outcome down.

    Raises: UserError without a prediction or a cleaning; OutOfRange with too few firings around it
    """
    path = ledger.path_of(folder, profile.furnace.id)
    with ledger.alone(path):
        return _prove(path, store, profile, now_ms, ash_kg)


def _prove(path: Path, store: Store, profile: Profile, now_ms: int, ash_kg: float | None) -> dict[str, Any]:
    kept = ledger.load(path)
    if not kept.rows or kept.rows[-1].outcome is not None:
        raise UserError(f"{path}: no prediction is open; write one before the next cleaning (--predict)")
    predicted = kept.rows[-1].prediction
    cleaned = [e.at_ms for e in profile.log if e.kind == "cleaning" and predicted.written_ms < e.at_ms <= now_ms]
    if not cleaned:
        raise UserError(f"no cleaning has been logged since the prediction of {day_of(predicted.written_ms)}")
    before, after = _sides(store, profile, cleaned[0], [*cleaned, now_ms + 1][1])
    drop_K, se_K = measured_drop(before, after)
    outcome = Outcome(cleaned[0], drop_K, se_K, ash_kg)
    kept = kept.close(outcome)
    ledger.append(path, kept)
    said = verdict(predicted, outcome)
    hits, closed = kept.hits()
    ash = {"not weighed": "", "agrees": "; the ash weighed agrees", "more": "; more ash than expected",
           "less": "; less ash than expected"}[said.ash]  # fmt: skip
    return {
        "furnace": profile.furnace.id, "cleaned": day_of(cleaned[0]), "result": said.result,
        "predicted_K": predicted.drop_K, "predicted_sd_K": predicted.sd_K, "measured_K": drop_K, "measured_se_K": se_K,
        "ash": said.ash, "hits": hits, "cleanings": closed,
        "text": f"{said.result}: {said.text}{ash}\nhits: {hits} of {closed} predictions",
    }  # fmt: skip


def _sides(store: Store, profile: Profile, cleaned_ms: int, end_ms: int) -> tuple[FloatArray, FloatArray]:
    """Rise over the old clean stack [K] of the last firings before a cleaning and of the first ones after it.

    Before it the analysis knows the rise. What it took off for weather is a straight line in what was measured, found
    again from those firings, so that the firings after it are judged in the same way.
    """
    seen = burned(store, profile, cleaned_ms, cleaned_ms)
    known = [e for e in seen.steady if e.number("residual_K") is not None][-FRAME:]
    after = store.events(profile.furnace.id, "steady", cleaned_ms, end_ms)[:SIDE]
    if len(known) < 5 or len(after) < 5:
        raise OutOfRange(
            "at least 5 steady firings on each side of the cleaning are needed; "
            f"there are {len(known)} before and {len(after)} after it"
        )
    lit = {e.start_ms: e for e in store.events(profile.furnace.id, "firing", known[0].start_ms, end_ms)}
    rows = {n: limits.column([lit[e.start_ms] for e in (*known, *after)], n) for n in COVARIATES}
    names = [n for n, values in rows.items() if np.all(np.isfinite(values))]
    table = np.column_stack([np.ones(len(known) + len(after)), *(rows[n] - rows[n].mean() for n in names)])
    clean = limits.column(known, "net_K") - limits.column(known, "residual_K")
    frame, *_ = np.linalg.lstsq(table[: len(known)], clean, rcond=None)
    return limits.column(known[-SIDE:], "residual_K"), limits.column(after, "net_K") - table[len(known) :] @ frame


@dataclass(frozen=True)
class Cleaning:
    """One cleaning of the log: the fall of the stack and its error [K], or why that is not known.

    predicted, outcome: of the ledger, where a prediction had been written down before it
    """

    at_ms: int
    note: str
    drop_K: tuple[float, float] | None
    unknown: str
    predicted: Prediction | None = None
    outcome: Outcome | None = None


def cleanings(store: Store, profile: Profile, now_ms: int, kept: Ledger) -> list[Cleaning]:
    """Every cleaning that was logged and what it did, oldest first.

    Source: `heat.proof.measured_drop` over the firings around it; the ledger's own number where it was proved.
    """
    done = [e for e in profile.log if e.kind == "cleaning" and e.at_ms <= now_ms]
    proved = {row.outcome.cleaned_ms: row for row in kept.rows if row.outcome is not None}
    made = []
    for i, entry in enumerate(done):
        row = proved.get(entry.at_ms)
        if row is not None and row.outcome is not None:
            drop = (row.outcome.drop_K, row.outcome.se_K)
            made.append(Cleaning(entry.at_ms, entry.note or "", drop, "", row.prediction, row.outcome))
            continue
        open_row = kept.rows[-1] if kept.rows and kept.rows[-1].outcome is None else None
        first_since = open_row and next((e for e in done if e.at_ms > open_row.prediction.written_ms), None)
        predicted = open_row.prediction if open_row is not None and first_since is entry else None
        end_ms = done[i + 1].at_ms if i + 1 < len(done) else now_ms + 1
        try:
            drop_K, unknown = measured_drop(*_sides(store, profile, entry.at_ms, end_ms)), ""
        except OutOfRange as error:
            made.append(Cleaning(entry.at_ms, entry.note or "", None, str(error), predicted))
            continue
        made.append(Cleaning(entry.at_ms, entry.note or "", drop_K, unknown, predicted))
    return made
