"""kill -9 at random moments: what was committed is there, once, and nothing is torn.

The whole exercise is `python -m tests.store.test_crash`: 20,000 packs, killed some forty times.
"""

import random
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from sootline.store import Store, parts
from tests.store.making import ALL, FURNACE, START_MS, said, slowly
from tests.store.writing_child import numbered


def write_under_fire(folder: Path, packs: int, seed: int, commits: int) -> int:
    """Keep a writer going until all packs are committed, killing each within some commits; how many were killed."""
    rng = random.Random(seed)
    committed, killed = 0, 0
    while committed < packs:
        arguments = [str(folder), str(rng.randrange(2**31)), str(committed), str(packs)]
        with subprocess.Popen(
            [sys.executable, "-m", "tests.store.writing_child", *arguments], stdout=subprocess.PIPE, text=True
        ) as child:
            assert child.stdout is not None
            told = [child.stdout.readline() for _ in range(rng.randint(1, commits))]
            time.sleep(rng.uniform(0, 0.03))
            killed += child.poll() is None
            child.kill()
            lines = [*told, *child.stdout]
        whole = [line for line in lines if line.endswith("\n")]
        assert whole, "the writer died before it wrote anything"
        committed = max(committed, int(whole[-1]))
        with Store.open(folder, read_only=True) as store:
            assert committed <= len(np.unique(store.read(FURNACE, *ALL, ("pump",)).on_s["pump"]))
    return killed


def check_whole(folder: Path, packs: int) -> None:
    with Store.open(folder) as store:
        expected = slowly(numbered(seq) for seq in range(packs))
        assert said(store.read(FURNACE, *ALL)) == expected
        assert store.verify() == []
        store.compact(START_MS + 100_000 * packs + 3 * parts.block.DAY_MS)
        assert said(store.read(FURNACE, *ALL)) == expected
        assert store.verify() == []
        with store.batch() as batch:
            assert not any(batch.pack(numbered(seq), START_MS, START_MS) for seq in range(packs))


def test_killed_writer_loses_nothing_and_doubles_nothing(tmp_path):
    killed = write_under_fire(tmp_path / "store", 1500, 7, 8)
    check_whole(tmp_path / "store", 1500)
    assert killed >= 2


STEPS = ("open", "write", "fsync", "close", "replace", "open folder", "fsync folder", "close folder")

_DIES_AT = """
import os, sys
from pathlib import Path
from sootline.store import Store, files
from tests.store.making import START_MS
calls = 0
def dying(real):
    def call(*args):
        global calls
        calls += 1
        if calls == int(sys.argv[2]):
            if real is os.write:
                real(args[0], bytes(args[1])[: len(args[1]) // 2])
            os._exit(9)
        return real(*args)
    return call
class Disk:
    O_WRONLY, O_CREAT, O_TRUNC, O_RDONLY, name, getpid = os.O_WRONLY, os.O_CREAT, os.O_TRUNC, os.O_RDONLY, os.name, os.getpid
    open, write, fsync, close, replace = map(staticmethod, map(dying, (os.open, os.write, os.fsync, os.close, os.replace)))
files.os = Disk
Store.open(Path(sys.argv[1])).compact(START_MS + 9 * 86_400_000)
"""  # noqa: E501


@pytest.mark.parametrize("step", range(1, len(STEPS) + 1), ids=STEPS)
def test_death_at_each_step_of_a_sealing_leaves_old_or_new(tmp_path, step):
    folder = tmp_path / "store"
    packs = [numbered(seq) for seq in (*range(1000, 1860, 7), *range(1000, 1860, 430))]
    with Store.open(folder) as store, store.batch() as batch:
        for p in packs:
            batch.pack(p, p.base_ms, p.base_ms)
    expected = slowly(packs)
    died = subprocess.run([sys.executable, "-c", _DIES_AT, str(folder), str(step)], check=False)
    assert died.returncode == 9
    with Store.open(folder) as store:
        assert said(store.read(FURNACE, *ALL)) == expected
        store.compact(START_MS + 9 * parts.block.DAY_MS)
        assert said(store.read(FURNACE, *ALL)) == expected
        assert store.verify() == []


if __name__ == "__main__":
    import tempfile

    with tempfile.TemporaryDirectory() as name:
        count = write_under_fire(Path(name) / "store", 20_000, int(time.time()), 16)
        check_whole(Path(name) / "store", 20_000)
    print(f"20,000 packs, writer killed {count} times: every one is there, once")
