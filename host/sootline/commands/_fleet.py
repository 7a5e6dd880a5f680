"""The past of every furnace analysed again, one furnace a task, on a pool of processes or a Dask cluster.

Each furnace's alarms are kept in a file as soon as they are known, so that a run that was broken off goes on where it
stopped. A furnace that fails is named, and the others are done all the same.
"""

import argparse
import hashlib
import multiprocessing
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path

import msgspec
from tqdm import tqdm

import sootline
from sootline.alarms import Alarm
from sootline.channels import CHANNELS
from sootline.commands import _history
from sootline.commands._history import Past
from sootline.errors import SootlineError, UserError
from sootline.store.files import replace, write_beside


@dataclass(frozen=True, slots=True)
class Task:
    """One furnace; `of` stands for all that its alarms follow from."""

    furnace: str
    of: str


class Done(msgspec.Struct):
    """What is kept of a task."""

    of: str
    alarms: list[Alarm]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    fleet = parser.add_argument_group("a whole fleet")
    fleet.add_argument("--all", action="store_true", help="every furnace in the store or on the server")
    fleet.add_argument("--workers", type=_number, metavar="N", help="processes (default: one a core)")
    fleet.add_argument("--cluster", metavar="ADDRESS", help="on this Dask cluster; its workers must reach the readings")
    fleet.add_argument("--results", type=Path, metavar="FOLDER", help="finished furnaces (default: DATA/replay)")
    fleet.add_argument("--again", action="store_true", help="those that are finished, too")
    _history.add_source(fleet)


def analyse(options: argparse.Namespace, furnace: str) -> bytes:
    """The alarms of one furnace's past, encoded; runs in a worker."""
    with _history.opened(options, furnace) as pasts:
        past = pasts[furnace]
        return msgspec.json.encode(past.alarms())


def replay_all(options: argparse.Namespace) -> tuple[list[Alarm], dict[str, str]]:
    """(the alarms of all furnaces, furnace -> why it could not be analysed). UserError where nothing can be begun."""
    tasks = _tasks(options)
    kept = options.results or options.data / "replay"
    found = {} if options.again else {task: done for task in tasks if (done := _load(kept, task)) is not None}
    failed = {}
    with tqdm(total=len(tasks), initial=len(found), unit="furnace", disable=None) as bar:
        left = [task for task in tasks if task not in found]
        for task, outcome in outcomes(left, partial(analyse, options), options):
            bar.update()
            if isinstance(outcome, BaseException):
                failed[task.furnace] = why(outcome)
                continue
            found[task] = msgspec.json.decode(outcome, type=list[Alarm])
            path = _kept(kept, task)
            replace(write_beside(path, msgspec.json.encode(Done(task.of, found[task]))), path)
    return [alarm for alarms in found.values() for alarm in alarms], failed


def _tasks(options: argparse.Namespace) -> list[Task]:
    with _history.opened(options, None) as pasts:
        return [Task(name, _of(past)) for name, past in pasts.items()]


def _of(past: Past) -> str:
    """A fingerprint of all that the alarms follow from, the analysis included; another one means: analyse again."""
    told = (past.state, past.profile, past.sampling, past.waiting(CHANNELS), _program())
    return hashlib.sha256(repr(told).encode()).hexdigest()


@cache
def _program() -> str:
    """A fingerprint of the analysis itself."""
    whole = hashlib.sha256()
    for path in sorted(Path(sootline.__file__).parent.rglob("*.py")):
        whole.update(path.read_bytes())
    return whole.hexdigest()


def _kept(folder: Path, task: Task) -> Path:
    return folder / f"{task.furnace}.json"


def _load(folder: Path, task: Task) -> list[Alarm] | None:
    try:
        done = msgspec.json.decode(_kept(folder, task).read_bytes(), type=Done)
    except (OSError, msgspec.DecodeError):
        return None
    return done.alarms if done.of == task.of else None


def outcomes(
    tasks: Sequence[Task], work: Callable[[str], bytes], options: argparse.Namespace
) -> Iterator[tuple[Task, bytes | BaseException]]:
    """Each task with its outcome, as they end. A worker that dies takes all others with it; those begin again."""
    broken = []
    with _executor(options) as executor:
        for task, outcome in _ended(executor, tasks, work):
            if isinstance(outcome, BrokenExecutor):
                broken.append(task)
            else:
                yield task, outcome
    for task in broken:  # alone, so that the one that kills its worker is known
        with _executor(options) as executor:
            yield from _ended(executor, [task], work)


def _ended(
    executor: Executor, tasks: Iterable[Task], work: Callable[[str], bytes]
) -> Iterator[tuple[Task, bytes | BaseException]]:
    running: dict[Future[bytes], Task] = {}
    for task in tasks:
        try:
            running[executor.submit(work, task.furnace)] = task
        except BrokenExecutor as error:
            yield task, error
    for future in as_completed(running):
        yield running[future], future.exception() or future.result()


@contextmanager
def _executor(options: argparse.Namespace) -> Iterator[Executor]:
    if options.cluster is None:
        context = multiprocessing.get_context("spawn")  # a fork would copy locks of other threads
        with ProcessPoolExecutor(options.workers, context) as pool:
            yield pool
        return
    try:
        from distributed import Client
    except ModuleNotFoundError as error:
        raise UserError(f"this needs {error.name}; pip install 'sootline[cluster]'") from None
    try:
        client = Client(options.cluster, timeout="5s")  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as error:  # TimeoutError is an OSError
        raise UserError(f"the cluster at {options.cluster} does not answer: {error}") from None
    with client:
        yield client.get_executor(pure=False, retries=0)  # type: ignore[no-untyped-call]


def why(error: BaseException) -> str:
    if isinstance(error, BrokenExecutor):
        return "its worker was ended from outside; most often there was too little memory: try --workers 1"
    return str(error) if isinstance(error, SootlineError) else f"{type(error).__name__}: {error}"


def _number(text: str) -> int:
    n = int(text) if text.isdecimal() else 0
    if not 1 <= n <= 256:
        raise argparse.ArgumentTypeError("give a number of processes, 1 or more")
    return n
