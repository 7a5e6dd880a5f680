"""Show it all: an invented railway workshop, four weeks of history, then two boards live."""

import argparse
import contextlib
import os
import select
import shutil
import signal
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path

from sootline import broker, demo
from sootline.alarms import Alarm
from sootline.commands import _arguments
from sootline.courier.inbox import Inbox
from sootline.errors import UserError
from sootline.service import Options, Service, now_ms, only_one
from sootline.sim import scenarios
from sootline.sim.scenarios import FURNACES
from sootline.wording import alarm_title

_BAR = 40
_INTRO = """\
Tollen Vale Light Railway (invented): a volunteer workshop heated by two used-oil furnaces, engine-shed and
carriage-shop. Four weeks of history come first, through the same door as any board's messages."""
_LOOK = """\
  pages   {url}
  boards  {boards}
  told    Maud and Jory, by a receiver on this machine only; what they got is in {messages}
  watch   within {stall:.0f} minutes of firing the engine shed's refill pump runs into its limiter and brings no oil:
          the alarm is on the page within seconds, with what to do first and how long the fire will last.
          Press Enter to mend the leak and push the refill reset; else it is done {mended:.0f} minutes later.
  end     Ctrl-C"""


def main(argv: Sequence[str]) -> int:
    parser = argparse.ArgumentParser("sootline demo", description=__doc__)
    parser.add_argument("--data", type=Path, metavar="FOLDER", help="keep store and profiles here (default: nowhere)")
    parser.add_argument("--port", type=_arguments.port, default=8470, help="of the pages (default: %(default)s)")
    parser.add_argument(
        "--days", type=int, default=28, choices=range(1, 29), metavar="1..28", help="of the story to tell before today"
    )
    parser.add_argument("--units", choices=("si", "us"), default="us")
    parser.add_argument("--record", type=Path, metavar="FOLDER", help="record every message for a later replay")
    options = parser.parse_args(argv)
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    with ExitStack() as parts:
        data = options.data or parts.enter_context(_passing_folder())
        settings = Options(data, broker_port=0, web_port=options.port, units=options.units, record=options.record)
        show(settings, options.days, stop)
    return 0


def show(options: Options, days: int, stop: threading.Event) -> None:
    """Run the demo until `stop` is set; what it started is ended when this returns."""
    now = now_ms()
    print(_INTRO, flush=True)
    stories = demo.tales(now, days)
    demo.write_profiles(options.data / "profiles", stories)
    demo.write_books(options.data, stories, now)
    with ExitStack() as parts:
        inbox = Inbox(options.data / "messages.txt", _told)
        parts.callback(inbox.close)
        demo.write_contacts(options.data, inbox, f"http://{options.web_host}:{options.web_port}")
        service = Service(options)
        parts.callback(service.stop)
        history = None
        if not service.store.furnaces():
            moments = demo.predict_before_cleanings(options.data, stories, now)
            history = demo.History(stories, now, moments)
            parts.callback(history.close)
        service.start(history or ())
        print(f"  pages   {service.web.url} (open it now and watch it fill)", flush=True)
        _await(service, history, stop)
        if stop.is_set():
            return
        if history is not None:
            demo.tell_the_past(service.store, options.data, inbox, now)
        _acknowledge_the_past(service, now, stop)
        if history is not None:
            demo.take_the_past(service.store, now)
        demo.prove_cleanings(options.data, stories)
        furnaces = []
        for furnace in FURNACES:
            live = demo.LiveFurnace(furnace, now_ms(), service.address.port, options.data / "boards" / furnace)
            parts.callback(live.close)
            furnaces.append(live)
        print(_look(service, furnaces, inbox.file), flush=True)
        _narrate(service, furnaces[0], stop)


def _told(name: str, title: str) -> None:
    print(f"{time.strftime('%H:%M:%S')}  message to {name}: {title}", flush=True)


def _look(service: Service, furnaces: Sequence[demo.LiveFurnace], messages: Path) -> str:
    boards = ", ".join(
        f"{live.board.furnace} in {'micropython' if live.board.on_micropython else 'CPython'} process {live.board.pid}"
        for live in furnaces
    )
    if not all(live.board.on_micropython for live in furnaces):
        boards += " (no micropython here: the same files run under CPython)"
    return _LOOK.format(
        url=service.web.url,
        boards=boards,
        messages=messages,
        stall=scenarios.STALL_AFTER_MS / 60_000,
        mended=scenarios.REPAIRED_AFTER_STALL_MS / 60_000,
    )


def _await(service: Service, history: demo.History | None, stop: threading.Event) -> None:
    """Wait until all is read, with a bar."""
    started = time.monotonic()
    tty = sys.stderr.isatty()
    shown = -1
    while service.live.troubles and not stop.wait(0.2):
        service.check()
        share = history.progress if history else 0.0
        what = "taking the messages in" if history is None or history.begun else "running the furnace model"
        text = f"[{'#' * int(_BAR * share):<{_BAR}}] {share:4.0%}  {time.monotonic() - started:3.0f} s  {what}"
        if tty:
            print(f"\r{text:<100}", end="", file=sys.stderr, flush=True)
        elif int(10 * share) != shown:
            shown = int(10 * share)
            print(text, file=sys.stderr, flush=True)
    start = "\r" if tty else ""
    print(f"{start}history read in {time.monotonic() - started:.0f} s{'':<80}", file=sys.stderr, flush=True)


def _acknowledge_the_past(service: Service, before_ms: int, stop: threading.Event) -> None:
    """What is over has been seen by Maud; what still stands waits for the visitor."""
    over = [alarm.key for alarm in _present(service) if alarm.cleared_ms is not None and alarm.cleared_ms < before_ms]
    for key in over:
        while not stop.is_set():
            with contextlib.suppress(UserError):  # on a slow machine the store is still being put in order
                service.live.acknowledge(key, "Maud")
                break


def _narrate(service: Service, engine_shed: demo.LiveFurnace, stop: threading.Event) -> None:
    """Tell what changes until stopped; Enter mends the leak."""
    told = {alarm.key: alarm.state for alarm in _present(service)}
    version = service.live.version
    while not stop.is_set():
        service.check()
        version = service.live.wait(version, 0.5)
        alarms = {alarm.key: alarm for alarm in _present(service)}
        for key, alarm in alarms.items():
            if told.get(key) != alarm.state:
                told[key] = alarm.state
                _tell(alarm)
        if _entered():
            engine_shed.mend()
            print(f"{time.strftime('%H:%M:%S')}  leak mended, refill reset pushed", flush=True)


def _present(service: Service) -> list[Alarm]:
    return [alarm for furnace in service.live.furnaces() for alarm in furnace.alarms]


def _tell(alarm: Alarm) -> None:
    late_s = (now_ms() - alarm.found_ms) / 1000
    when = f", on the page {late_s:.1f} s after it was so" if alarm.state == "unacknowledged" else ""
    print(f"{time.strftime('%H:%M:%S')}  {alarm.furnace}: {alarm_title(alarm.alarm)}: {alarm.state}{when}", flush=True)
    if alarm.state == "unacknowledged":
        print(f"          first: {alarm.first_step}", flush=True)


def _entered() -> bool:
    """Whether somebody has pressed Enter at this terminal."""
    if not sys.stdin or not sys.stdin.isatty():
        return False
    ready, _, _ = select.select([sys.stdin], [], [], 0)
    return bool(ready and sys.stdin.readline())


@contextmanager
def _passing_folder() -> Iterator[Path]:
    """A folder for this run; what a run that was killed has left in it is cleared away first."""
    folder = Path(tempfile.gettempdir()) / f"sootline-demo-{os.getuid()}"
    only_one(folder).close()  # says so when a demo is running
    broker.end_stale(folder / "broker")
    _clear(folder)
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _clear(folder: Path) -> None:
    for path in folder.iterdir():
        if path.is_dir():
            shutil.rmtree(path, ignore_errors=True)
        else:
            with contextlib.suppress(OSError):
                path.unlink()
