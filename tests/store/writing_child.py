"""A process that writes numbered packs into a store until it is killed, telling each commit on standard output.

    python -m tests.store.writing_child FOLDER SEED FIRST PACKS

It begins again somewhat before FIRST, in shuffled batches with repeats, as a broker does after a crash, and keeps
house in between.
"""

import random
import sys
from pathlib import Path

from sootline.store import Store
from tests.store.making import START_MS, pack, rows


def numbered(seq: int):
    """Pack `seq`: 100 s after the one before, so that a few hundred fill a day; every tenth has a late row."""
    late = [-86_400_000] if seq % 10 == 0 and seq >= 1000 else []
    n = len(late) + 2
    content = rows([*late, 0, 1], tank=[seq / 100] * n, pump=[float(seq % 2)] * n, pump_s=[seq / 8] * n)
    return pack(seq, content, base_ms=START_MS + 100_000 * seq)


def main(folder: Path, seed: int, first: int, last: int) -> None:
    rng = random.Random(seed)
    store = Store.open(folder)
    done = max(0, first - 50)
    while done < last:
        n = rng.randint(1, 100)
        numbers = list(range(done, min(done + n, last)))
        again = rng.choices(range(done + 1), k=rng.randint(0, 5))
        order = numbers + again
        rng.shuffle(order)
        with store.batch() as batch:
            for seq in order:
                p = numbered(seq)
                batch.pack(p, p.base_ms + 30, p.base_ms)
        done = numbers[-1] + 1
        print(done, flush=True)
        if rng.random() < 0.15:
            store.compact(START_MS + 100_000 * done)
    store.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4]))
