"""A disk that refuses: full, read-only, or failing at any one call. Nothing is lost, and it goes on by itself."""

import os
import resource
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from sootline.errors import StoreUnavailable
from sootline.store import Store, files, parts
from tests.store.making import ALL, DAY_MS, FURNACE, START_MS, day_packs, pack, put, rows, said, slowly


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A real file system of 12 MiB."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=12m", "tmpfs", disk], capture_output=True, check=False
    )
    if mounted.returncode:
        pytest.skip("may not mount a file system here")
    yield disk
    subprocess.run(["umount", "-l", disk], check=True)


def test_a_full_disk_refuses_clearly_keeps_what_it_had_and_recovers(small_disk):
    (small_disk / "ballast").write_bytes(bytes(7_000_000))
    with Store.open(small_disk / "store") as store:
        packs = list(day_packs(30, every=15))
        kept: list = []
        with pytest.raises(StoreUnavailable, match="check disk space") as caught:
            for i in range(0, len(packs), 100):
                put(store, *packs[i : i + 100])
                kept += packs[i : i + 100]
        assert "\n" not in str(caught.value)
        assert said(store.read(FURNACE, *ALL)) == slowly(kept)
        with pytest.raises(StoreUnavailable):
            store.compact(START_MS + 40 * DAY_MS)
        assert said(store.read(FURNACE, *ALL)) == slowly(kept)
        (small_disk / "ballast").unlink()
        batch = packs[len(kept) : len(kept) + 100]
        assert put(store, *batch) == [True] * 100
        store.compact(START_MS + 40 * DAY_MS)
        assert said(store.read(FURNACE, *ALL)) == slowly(kept + batch)
        assert store.verify() == []


def test_a_read_only_disk_refuses_clearly_and_recovers(small_disk):
    with Store.open(small_disk / "store") as store:
        put(store, pack(0))
    subprocess.run(["mount", "-o", "remount,ro", small_disk], check=True)
    with pytest.raises(StoreUnavailable, match="check disk space and permissions"):
        Store.open(small_disk / "store")
    subprocess.run(["mount", "-o", "remount,rw", small_disk], check=True)
    with Store.open(small_disk / "store") as store:
        assert put(store, pack(0), pack(1)) == [False, True]


def test_a_write_that_the_system_refuses_leaves_nothing_and_may_be_tried_again(store):
    put(store, pack(0))
    size = (store.folder / "sootline.db-wal").stat().st_size
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size + 4096, hard))
    try:
        with pytest.raises(StoreUnavailable):
            put(store, *(pack(seq) for seq in range(1, 2000)))
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert said(store.read(FURNACE, *ALL)) == slowly([pack(0)])
    assert put(store, *(pack(seq) for seq in range(2000))) == [False] + [True] * 1999


class FailingDisk:
    """The calls of `os` that the file layer makes; the nth of them fails, a write after half of it is written."""

    O_WRONLY, O_CREAT, O_TRUNC, O_RDONLY, name, getpid = (
        os.O_WRONLY, os.O_CREAT, os.O_TRUNC, os.O_RDONLY, os.name, os.getpid,
    )  # fmt: skip

    def __init__(self, fails_at: int) -> None:
        self.calls = 0
        self.fails_at = fails_at

    def __getattr__(self, name):
        real = getattr(os, name)

        def call(*args):
            self.calls += 1
            if self.calls == self.fails_at:
                if name == "write":
                    real(args[0], bytes(args[1])[: len(args[1]) // 2])
                if name == "close":
                    real(*args)
                raise OSError(28, "No space left on device")
            return real(*args)

        return call


@pytest.mark.parametrize("late", [False, True], ids=["first sealing", "sealing anew"])
def test_a_call_that_fails_leaves_old_or_new(tmp_path, monkeypatch, late):
    packs = list(day_packs(1))
    steps = 0
    for n in range(1, 30):
        with Store.open(tmp_path / str(n)) as store:
            put(store, *packs[::2])
            if late:
                store.compact(START_MS + 3 * DAY_MS)
            put(store, *packs[1::2])
            disk = FailingDisk(n)
            with monkeypatch.context() as patch:
                patch.setattr(files, "os", disk)
                try:
                    store.compact(START_MS + 3 * DAY_MS)
                except StoreUnavailable:
                    steps += 1
            assert said(store.read(FURNACE, *ALL)) == slowly(packs), n
            store.compact(START_MS + 3 * DAY_MS)
            assert said(store.read(FURNACE, *ALL)) == slowly(packs), n
            assert store.verify() == []
            assert store.sizes().furnaces[0].rows == 2 * len(packs), "a row that was in both places is kept once"
            assert [path.name for path in (store.folder / parts.DAYS / FURNACE).iterdir()] == ["2026-01-01.parquet"]
        if disk.calls < n:
            break
    assert steps == n - 1 == 8


def test_stray_files_are_brought_home_or_removed(store):
    put(store, *day_packs(2))
    before = store.read(FURNACE, *ALL)
    store.compact(START_MS + 4 * DAY_MS)
    known, unknown = sorted((store.folder / parts.DAYS / FURNACE).iterdir())
    kept = known.read_bytes()
    store.close()
    # the database is lost: both files are taken in again, and their packs are known
    for path in store.folder.glob("sootline.db*"):
        path.unlink()
    with Store.open(store.folder) as fresh:
        done = fresh.compact(START_MS + 4 * DAY_MS)
        assert (done.files_adopted, done.files_removed) == (2, 0)
        assert said(fresh.read(FURNACE, *ALL)) == said(before)
        assert put(fresh, *day_packs(2)) == [False] * 576
        # a file that tells nothing new is removed
        with fresh.batch() as batch:
            batch._db.execute("DELETE FROM part WHERE file LIKE '%2026-01-01%'")
        assert fresh.compact(START_MS + 4 * DAY_MS + 1).files_removed == 0, "it is looked for once a day"
        assert fresh.compact(START_MS + 5 * DAY_MS).files_removed == 1
        assert not known.exists() and unknown.exists() and kept


def test_house_keeping_by_another_process_is_noticed(store):
    packs = list(day_packs(1))
    put(store, *packs)
    with Store.open(store.folder) as other:
        other.compact(START_MS + 3 * DAY_MS)
    assert put(store, *packs, pack(10**6, rows([0], tank=[1.0]))) == [False] * len(packs) + [True]
