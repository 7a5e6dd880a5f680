"""Record what boards publish: write a broker's messages to files that `sootline replay` reads."""

import argparse
import queue
import signal
import sys
import threading
import time
from collections.abc import Sequence
from pathlib import Path

from sootline.broker import DEFAULT_PORT
from sootline.commands import _broker
from sootline.files.recordings import Recorder
from sootline.ingest.client import Address, Client, Delivery, Item

FLUSH_S = 5.0


def main(argv: Sequence[str]) -> int:
    parser = argparse.ArgumentParser("sootline record", description="Write a broker's messages to recordings.")
    parser.add_argument("folder", type=Path, help="where the recordings go, a file a day")
    parser.add_argument("--for", dest="seconds", type=float, metavar="SECONDS", help="stop after this time")
    parser.add_argument("--name", default="sootline-recorder", help="session at the broker; one recorder, one name")
    _broker.add(parser)
    options = parser.parse_args(argv)
    address = _broker.address(options) or Address(port=DEFAULT_PORT)
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    if options.seconds is not None:
        threading.Timer(options.seconds, stop.set).start()
    count = record(address, options.root, options.name, options.folder, stop)
    print(f"{count} messages recorded in {options.folder}", file=sys.stderr)
    return 0


def record(address: Address, root: str, name: str, folder: Path, stop: threading.Event) -> int:
    """Record until stop is set; a message is acknowledged once it is on the disk. Returns how many."""
    recorder = Recorder(folder)
    arrived: queue.SimpleQueue[Item] = queue.SimpleQueue()
    client = Client(address, root, name, arrived.put)
    client.start()
    waiting: list[Delivery] = []
    count, flushed, problem = 0, time.monotonic(), ""
    while True:
        try:
            item = arrived.get(timeout=0.2)
            if isinstance(item, Delivery):
                recorder.write(item.message)
                waiting.append(item)
                count += 1
        except queue.Empty:
            if stop.is_set():
                break
        if time.monotonic() - flushed >= FLUSH_S:
            _flush(recorder, waiting)
            flushed = time.monotonic()
            if client.problem and client.problem != problem:
                print(f"sootline: {client.problem}", file=sys.stderr)
            problem = client.problem or ""
    _flush(recorder, waiting)
    time.sleep(0.1)  # let the last acknowledgements leave
    client.stop()
    return count


def _flush(recorder: Recorder, waiting: list[Delivery]) -> None:
    recorder.flush()
    for delivery in waiting:
        delivery.acknowledge()
    waiting.clear()
