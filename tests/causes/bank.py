"""How often the right cause is named: `python -m tests.causes.bank [--only TEXT] [--rows FOLDER] [--verbose]`.

Prints, for each set of channels, in how many cases the alarm was raised at all, and of those in how many the true cause
came first and among the first three. "told apart" also counts, on the smaller sets, a cause of the same branch that
nothing measured there can tell from the true one (cases say which).
"""

import argparse
import pickle
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from sootline.series import Rows
from tests.causes.cases import CASES
from tests.causes.world import SETS, Case, alarms_of, ranked, rows_of


@dataclass(frozen=True)
class Answer:
    case: Case
    channels: str
    causes: list[str] | None  # None: the alarm was not raised on these channels

    @property
    def accepted(self) -> tuple[str, ...]:
        return self.case.expect if self.channels == "all" else (*self.case.expect, *self.case.branch)

    def place(self, accepted: Sequence[str]) -> int:
        """1 for first; 99 when none of the accepted causes was named."""
        return next((i + 1 for i, cause in enumerate(self.causes or ()) if cause in accepted), 99)


def ask(case: Case, folder: Path | None = None) -> list[Answer]:
    rows = _rows(case, folder)
    return [Answer(case, channels, ranked(case, alarms_of(case, rows, channels))) for channels in SETS]


def _rows(case: Case, folder: Path | None) -> Rows:
    if folder is None:
        return rows_of(case)
    path = folder / f"{case.id}.pickle"
    key = repr(
        (case.spec, case.seed, case.happens, case.hours, case.warm_days, case.mean_C, case.edit and case.edit.__name__)
    )
    if path.exists():
        kept_key, rows = pickle.loads(path.read_bytes())
        if kept_key == key:
            return rows
    rows = rows_of(case)
    path.write_bytes(pickle.dumps((key, rows)))
    return rows


def shares(answers: Sequence[Answer], channels: str) -> dict[str, float]:
    """Counts and shares of one set."""
    mine = [answer for answer in answers if answer.channels == channels]
    raised = [answer for answer in mine if answer.causes is not None]
    n = max(len(raised), 1)
    return {
        "cases": len(mine),
        "raised": len(raised),
        "first": sum(a.place(a.case.expect) == 1 for a in raised) / n,
        "first_three": sum(a.place(a.case.expect) <= 3 for a in raised) / n,
        "first_told_apart": sum(a.place(a.accepted) == 1 for a in raised) / n,
        "first_three_told_apart": sum(a.place(a.accepted) <= 3 for a in raised) / n,
    }


def main(argv: Sequence[str]) -> int:
    parser = argparse.ArgumentParser("python -m tests.causes.bank", description=__doc__)
    parser.add_argument("--only", default="", help="only cases whose id holds this")
    parser.add_argument("--rows", type=Path, help="keep the simulated rows in this folder for the next time")
    parser.add_argument("--verbose", action="store_true", help="name the causes of every case")
    options = parser.parse_args(argv)
    if options.rows:
        options.rows.mkdir(parents=True, exist_ok=True)
    answers: list[Answer] = []
    cases = sorted(CASES, key=lambda case: (case.spec, case.seed))  # one furnace's cases together: known once
    for case in (case for case in cases if options.only in case.id):
        answers += ask(case, options.rows)
        for answer in answers[-len(SETS) :]:
            wrong = answer.causes is not None and answer.place(answer.case.expect) > 1
            if options.verbose or wrong or (answer.causes is None and answer.channels == "all"):
                named = "not raised" if answer.causes is None else " > ".join(answer.causes)
                print(f"{'  ' if not wrong else '! '}{case.id:<26}{case.alarm:<28}{answer.channels:<6}"
                      f"{'|'.join(case.expect)}: {named}", flush=True)  # fmt: skip
    print(f"\n{'channels':<10}{'cases':>7}{'raised':>8}{'first':>9}{'in three':>10}{'first*':>9}{'in three*':>11}")
    for channels in SETS:
        s = shares(answers, channels)
        print(f"{channels:<10}{s['cases']:>7.0f}{s['raised']:>8.0f}{s['first']:>9.1%}{s['first_three']:>10.1%}"
              f"{s['first_told_apart']:>9.1%}{s['first_three_told_apart']:>11.1%}")  # fmt: skip
    print("* a cause of the same branch counts where nothing measured tells them apart")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
