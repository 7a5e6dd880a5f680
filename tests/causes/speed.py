"""What causes cost: `python -m tests.causes.speed`. Prints CPU times and their ratios, taken in one run."""

import pickle
import sys
import time

from sootline.analysis.engine import Engine
from sootline.analysis.sampling import Sampling
from sootline.sim.run import simulate
from sootline.sim.weather import Weather
from tests.causes.cases import CASES
from tests.causes.world import DAY_MS, SETS, SPECS, START_MS, _profile, known, only, rows_of

LOOKS = 200


def main() -> int:
    spec = SPECS["shed"]
    rows, _ = simulate(spec, 1, START_MS, START_MS + 4 * DAY_MS, weather=Weather(1, mean_C=-4.0))
    blocks = [rows.between(START_MS + k * DAY_MS, START_MS + (k + 1) * DAY_MS) for k in range(4)]
    times = {}
    for what in ("with causes", "without", "with causes", "without"):  # the second pair counts: all is warm then
        engine = Engine(_profile("shed"), sampling=Sampling())
        if what == "without":
            _leave_out(engine)
        started = time.process_time()
        for block in blocks:
            engine.feed(block)
        times[what] = time.process_time() - started
    print(f"4 clean days: {times['with causes']:.3f} s with causes, {times['without']:.3f} s without, "
          f"ratio {times['with causes'] / times['without']:.3f}")  # fmt: skip
    case = next(case for case in CASES if case.id == "air-leak-shed")
    worst = (0.0, "")
    for channels in SETS:
        engine = pickle.loads(known(case.spec, case.seed, 4.25, case.mean_C)[1][channels])
        case_rows = only(rows_of(case), SETS[channels])
        engine.feed(case_rows.between(engine.fed_to_ms + 1, 2**62))
        for entry in engine.plant.book.entries:
            started = time.process_time()
            for _ in range(LOOKS):
                engine.causes.look_again(entry)
            worst = max(worst, ((time.process_time() - started) / LOOKS, f"{entry.alarm} on {channels}"))
    print(f"dearest look: {1e3 * worst[0]:.3f} ms, {worst[1]}")
    return 0


def _leave_out(engine: Engine) -> None:
    """Take the recorder and the finder out of every list they have subscribed to."""
    plant, seen = engine.plant, engine.causes.seen
    plant.raise_handlers.clear()
    for handlers in plant.event_handlers.values():
        handlers[:] = [handler for handler in handlers if getattr(handler, "__self__", None) is not seen]
    engine.pump.on_ended[:] = [
        call for call in engine.pump.on_ended if getattr(call, "__self__", None) is not seen.runs
    ]


if __name__ == "__main__":
    sys.exit(main())
