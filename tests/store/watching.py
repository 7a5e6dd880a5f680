"""Reads a store over and over while another process writes it."""

import multiprocessing
import threading
from pathlib import Path

from sootline.store import Store
from tests.store.making import ALL, FURNACE, START_MS

BATCHES, SIZE = 40, 50


def watch(folder: Path, done: "threading.Event", problems: list[str]) -> None:
    with Store.open(folder, read_only=True) as store:
        seen = 0
        while True:
            last = done.is_set()
            read = store.read(FURNACE, *ALL, ("pump",))
            n = len(set(read.on_s["pump"].tolist())) if len(read) else 0
            store.overview(FURNACE, "tank", START_MS, START_MS + 10**9, 20)
            if n % SIZE or n < seen:
                problems.append(f"{n} packs after {seen}")
            seen = n
            if last:
                break
        if seen != BATCHES * SIZE:
            problems.append(f"{seen} packs at the end")


def watch_process(folder: Path, done: "threading.Event", answers: "multiprocessing.Queue[list[str]]") -> None:
    problems: list[str] = []
    watch(folder, done, problems)
    answers.put(problems)
