"""``python -m tests.records.score DIR [--set four|some|all] [--smoke | --held-out | --block SEED]``: judge the replay.

Makes what is missing in DIR, replays each record with ``python -m sootline replay`` and compares the
alarms with the truth. Without ``--set`` all three channel sets are judged, one after the other.
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
import multiprocessing
import os
import subprocess
import sys
import time
from pathlib import Path
from statistics import median
from typing import Any

from tests.records import block
from tests.records.catalogue import HELD_OUT, RECORDS, SMOKE
from tests.records.causes import same_cause
from tests.records.record import SETS, data_file
from tests.records.write import make_missing

ROOT = Path(__file__).resolve().parents[2]
Alarm = dict[str, Any]


def seconds(stamp: str) -> float:
    """Unix time of an ISO 8601 stamp."""
    return dt.datetime.fromisoformat(stamp.replace("Z", "+00:00")).timestamp()


def replay(folder: Path, channel_set: str) -> tuple[list[Alarm], float]:
    """Alarms the analysis raises on a record, and how long it took [s]."""
    file = data_file(folder, channel_set)
    command = [
        sys.executable,
        "-m",
        "sootline",
        "replay",
        str(file),
        "--profile",
        str(folder / "profile.toml"),
        "--json",
    ]
    paths = [str(ROOT / "host"), str(ROOT), os.environ.get("PYTHONPATH", "")]
    began = time.perf_counter()
    done = subprocess.run(
        command, capture_output=True, text=True, env={**os.environ, "PYTHONPATH": os.pathsep.join(paths)}, check=False
    )
    if done.returncode != 0:
        raise RuntimeError(f"{folder.name} ({channel_set}): {done.stderr.strip()[-600:]}")
    return [json.loads(line) for line in done.stdout.splitlines() if line.strip()], time.perf_counter() - began


def judge(truth: dict[str, Any], alarms: list[Alarm], channel_set: str) -> dict[str, Any]:
    """Match one record's alarms with its truth."""
    used: set[int] = set()
    verdicts = []
    for item in truth["expected"]:
        if channel_set not in item["latest"]:
            continue
        verdicts.append(_verdict(truth, item, alarms, channel_set, used))
    false = []
    quiet: dict[str, int] = {}
    for i, alarm in enumerate(alarms):
        how = "matched" if i in used else _excuse(truth, alarm, channel_set)
        quiet[how] = quiet.get(how, 0) + 1
        if how == "false":
            false.append({key: alarm.get(key) for key in ("alarm", "channel", "priority", "raised", "cleared")})
    return {
        "record": truth["name"],
        "set": channel_set,
        "days": truth["days"],
        "clean": truth["clean"],
        "verdicts": verdicts,
        "false": false,
        "counts": quiet,
        "quiet_clean": truth["clean"] and not any(f["priority"] != "low" for f in false),
    }


def _verdict(
    truth: dict[str, Any], item: dict[str, Any], alarms: list[Alarm], channel_set: str, used: set[int]
) -> dict[str, Any]:
    earliest, latest, end = seconds(item["earliest"]), seconds(item["latest"][channel_set]), seconds(item["end"])
    best: tuple[float, int] | None = None
    for i, alarm in enumerate(alarms):
        right = alarm["alarm"] == item["alarm"] or alarm["alarm"] in item["also"]
        if item["channel"] and alarm["alarm"] == item["alarm"] and alarm.get("channel") not in (None, item["channel"]):
            right = False
        hidden = alarm.get("suppressed_by")
        if not right or (hidden and hidden not in item["under"] and not _known(truth, hidden, alarm)):
            continue
        known = max(seconds(alarm["raised"]), seconds(alarm["found"]) if alarm.get("found") else 0.0)
        if _stands_for(truth, item, alarm):
            known = seconds(item["condition"])
        if earliest <= seconds(alarm["raised"]) <= max(end, latest) or _stands_for(truth, item, alarm):
            used.add(i)
            if best is None or known < best[0]:
                best = (known, i)
    out = {
        "alarm": item["alarm"],
        "gradual": item["gradual"],
        "severity": item["severity"],
        "condition": item["condition"],
        "found": best is not None and best[0] <= latest,
        "late": best is not None and best[0] > latest,
        "delay_s": None if best is None else best[0] - seconds(item["condition"]),
        "cause": item["cause"],
    }
    if best is not None:
        detail = alarms[best[1]].get("detail") or {}
        out |= _cause_rank(item["cause"], detail)
        if item["alarm"] == "stack-rising" and "rise_K" in detail:
            out["rise_error_K"] = float(detail["rise_K"]) - _true_rise(truth, best[0])
    return out


def _stands_for(truth: dict[str, Any], item: dict[str, Any], alarm: Alarm) -> bool:
    """A true alarm of the same name that still stands when its condition comes true again says it already."""
    raised, condition = seconds(alarm["raised"]), seconds(item["condition"])
    gone = not alarm.get("cleared") or seconds(alarm["cleared"]) > condition
    return alarm["alarm"] == item["alarm"] and gone and any(
        e is not item and e["alarm"] == item["alarm"] and e["channel"] == item["channel"]
        and seconds(e["earliest"]) <= raised < condition and raised <= seconds(e["end"])
        for e in truth["expected"]
    )  # fmt: skip


def _known(truth: dict[str, Any], cause: str, alarm: Alarm) -> bool:
    """Whether ``cause`` is itself something this record expects at that time."""
    at = seconds(alarm["raised"])
    return any(e["alarm"] == cause and seconds(e["earliest"]) <= at <= seconds(e["end"]) for e in truth["expected"])


def _cause_rank(cause: str | None, detail: dict[str, Any]) -> dict[str, Any]:
    causes = detail.get("causes") or []
    if cause is None or not causes:
        return {"rank": None, "named": [c.get("id", c.get("cause", "")) for c in causes[:3]]}
    names = [str(c.get("id", c.get("cause", ""))) for c in causes]
    rank = next((i + 1 for i, name in enumerate(names) if same_cause(cause, name)), 99)
    return {"rank": rank, "named": names[:3]}


def _true_rise(truth: dict[str, Any], at: float) -> float:
    """True rise [K], mean of the five days before ``at``, as the rule's own mean is taken."""
    rows = [(seconds(t), rise) for t, rise in truth["stack_rise_K"]]
    last = [rise for t, rise in rows if at - 5 * 86400.0 < t <= at]
    return sum(last) / len(last) if last else 0.0


def _excuse(truth: dict[str, Any], alarm: Alarm, channel_set: str) -> str:
    at, name = seconds(alarm["raised"]), alarm["alarm"]
    for item in truth["expected_suppressed"]:
        if item["alarm"] == name and seconds(item["start"]) - 60.0 <= at <= seconds(item["end"]):
            return "suppressed" if alarm.get("suppressed_by") else "not suppressed"
    if alarm.get("suppressed_by"):
        return "suppressed"
    for item in truth["expected"]:
        if item["alarm"] == name and seconds(item["earliest"]) <= at <= seconds(item["end"]):
            return "expected elsewhere"
    for item in truth["tolerated"]:
        if (
            item["alarm"] == name
            and seconds(item["start"]) <= at <= seconds(item["end"])
            and channel_set in item.get("sets", SETS)
        ):
            return "tolerated"
    return "false"


def _one(job: tuple[Path, str]) -> dict[str, Any]:
    folder, channel_set = job
    truth = json.loads((folder / "truth.json").read_text())
    try:
        alarms, took = replay(folder, channel_set)
    except RuntimeError as error:
        return {"record": truth["name"], "set": channel_set, "error": str(error)}
    return {**judge(truth, alarms, channel_set), "replay_s": round(took, 2)}


def summary(results: list[dict[str, Any]]) -> dict[str, Any]:
    """The figures over all records of one channel set."""
    good = [r for r in results if "error" not in r]
    verdicts = [v for r in good for v in r["verdicts"]]
    false = [f for r in good for f in r["false"]]
    days = sum(r["days"] for r in good) or 1.0
    clean = [r for r in good if r["clean"]]
    ranks = [v["rank"] for v in verdicts if v.get("rank") is not None]
    errors = [abs(v["rise_error_K"]) for v in verdicts if "rise_error_K" in v]

    def rate(gradual: bool) -> float | None:
        some = [v["found"] for v in verdicts if v["gradual"] is gradual]
        return sum(some) / len(some) if some else None

    table = {}
    for name in sorted({v["alarm"] for v in verdicts} | {f["alarm"] for f in false}):
        mine = [v for v in verdicts if v["alarm"] == name]
        delays = [v["delay_s"] for v in mine if v["found"]]
        table[name] = {
            "found": sum(v["found"] for v in mine),
            "late": sum(v["late"] for v in mine),
            "missed": sum(not v["found"] and not v["late"] for v in mine),
            "median_delay_s": median(delays) if delays else None,
            "false": sum(f["alarm"] == name for f in false),
        }
    return {
        "records": len(good),
        "errors": [r["error"] for r in results if "error" in r],
        "furnace_days": days,
        "hard_found": rate(False),
        "gradual_found": rate(True),
        "false_high_per_1000_days": 1000.0 * sum(f["priority"] in ("high", "critical") for f in false) / days,
        "false_per_60_days": 60.0 * len(false) / days,
        "clean_quiet": sum(r["quiet_clean"] for r in clean) / len(clean) if clean else None,
        "rise_error_K": median(errors) if errors else None,
        "cause_first": sum(rank == 1 for rank in ranks) / len(ranks) if ranks else None,
        "cause_in_three": sum(rank <= 3 for rank in ranks) / len(ranks) if ranks else None,
        "cases_with_cause": len(ranks),
        "not_suppressed": sum(r["counts"].get("not suppressed", 0) for r in good),
        "tolerated": sum(r["counts"].get("tolerated", 0) for r in good),
        "alarms": table,
    }


def _print(channel_set: str, total: dict[str, Any], results: list[dict[str, Any]]) -> None:
    def share(value: float | None) -> str:
        return "none" if value is None else f"{100.0 * value:.1f} %"

    print(f"\n== set {channel_set}: {total['records']} records, {total['furnace_days']:.0f} furnace-days")
    print(f"{'alarm':24}{'found':>6}{'late':>6}{'missed':>7}{'median delay':>14}{'false':>7}")
    for name, row in total["alarms"].items():
        delay = "" if row["median_delay_s"] is None else f"{row['median_delay_s'] / 60.0:.1f} min"
        print(f"{name:24}{row['found']:6}{row['late']:6}{row['missed']:7}{delay:>14}{row['false']:7}")
    print(f"hard faults found {share(total['hard_found'])}, gradual {share(total['gradual_found'])}")
    print(
        f"false high/critical per 1000 days {total['false_high_per_1000_days']:.2f}, "
        f"all false per 60 days {total['false_per_60_days']:.2f}"
    )
    print(f"clean records with nothing above low {share(total['clean_quiet'])}")
    print(
        f"median error of stack rise {total['rise_error_K']} K; cause first {share(total['cause_first'])}, "
        f"in three {share(total['cause_in_three'])} of {total['cases_with_cause']}"
    )
    print(f"consequences not suppressed {total['not_suppressed']}, tolerated companions {total['tolerated']}")
    for result in results:
        for verdict in result.get("verdicts", []):
            if not verdict["found"]:
                print(
                    f"  {'late  ' if verdict['late'] else 'missed'} {result['record']} {verdict['alarm']}"
                    f" true at {verdict['condition']}"
                )
        for false in result.get("false", []):
            print(
                f"  false  {result['record']} {false['alarm']} {false['channel'] or ''}"
                f" {false['priority']} {false['raised']}"
            )
    for error in total["errors"]:
        print(f"  error  {error}")


def main() -> int:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--set", choices=SETS, help="one channel set only")
    parser.add_argument("--smoke", action="store_true", help="the ten short records")
    parser.add_argument("--held-out", action="store_true", help="the records no setting was looked at with")
    parser.add_argument("--block", type=int, metavar="SEED", help="records drawn at random from this seed")
    parser.add_argument("--count", type=int, default=40, help="how many of the block")
    parser.add_argument("--only", action="append", help="records whose name starts so; may be repeated")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--json", action="store_true", help="print everything as JSON")
    options = parser.parse_args()
    chosen = SMOKE if options.smoke else HELD_OUT if options.held_out else RECORDS
    names = [recipe.name for recipe in chosen]
    if options.block is not None:
        names = block.names(options.block, options.count)
    names = [name for name in names if not options.only or name.startswith(tuple(options.only))]
    make_missing(options.folder, names, options.workers, sys.stderr)
    report: dict[str, dict[str, Any]] = {}
    for channel_set in [options.set] if options.set else SETS:
        jobs = [(options.folder / name, channel_set) for name in names]
        if options.workers > 1:
            with multiprocessing.Pool(options.workers) as pool:
                results = pool.map(_one, jobs, chunksize=1)
        else:
            results = [_one(job) for job in jobs]
        total = summary(results)
        report[channel_set] = {"total": total, "records": results}
        if not options.json:
            _print(channel_set, total, results)
    if options.json:
        print(json.dumps(report, indent=1))
    return 1 if any(part["total"]["errors"] for part in report.values()) else 0


if __name__ == "__main__":
    raise SystemExit(main())
