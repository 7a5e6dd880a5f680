"""Readers beside a busy writer and house-keeping see whole batches, never less than before, and never an error."""

import multiprocessing
import threading

from tests.store.making import ALL, FURNACE, START_MS
from tests.store.watching import BATCHES, SIZE, watch, watch_process
from tests.store.writing_child import numbered


def test_readers_see_whole_batches_beside_writer_and_house_keeping(store):
    spawn = multiprocessing.get_context("spawn")
    done, answers = spawn.Event(), spawn.Queue()
    process = spawn.Process(target=watch_process, args=(store.folder, done, answers))
    process.start()
    over, problems = threading.Event(), []
    thread = threading.Thread(target=watch, args=(store.folder, over, problems))
    thread.start()
    for i in range(BATCHES):
        with store.batch() as batch:
            for seq in range(i * SIZE, (i + 1) * SIZE):
                p = numbered(seq)
                batch.pack(p, p.base_ms, p.base_ms)
        if i % 8 == 7:
            store.compact(START_MS + (i + 1) * SIZE * 100_000)
    done.set()
    over.set()
    thread.join(60)
    assert answers.get(timeout=60) == [] == problems
    process.join(60)


def test_batches_from_several_threads_take_turns(store):
    def write(first: int) -> None:
        for i in range(20):
            with store.batch() as batch:
                p = numbered(first + i)
                batch.pack(p, p.base_ms, p.base_ms)

    threads = [threading.Thread(target=write, args=(100 * k,)) for k in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert len(store.read(FURNACE, *ALL)) == 4 * 20 * 2
