"""Real time-series servers on free ports, for tests and benchmarks."""

import http.client
import socket
import subprocess
import time
import urllib.request
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path


def free_port() -> int:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return int(s.getsockname()[1])


@contextmanager
def running(command: Sequence[str], port: int, ready: str, log: Path) -> Iterator[subprocess.Popen[bytes]]:
    """A server process that answers GET `ready` on `port`; killed at the end."""
    with log.open("ab") as out, subprocess.Popen(command, stdout=out, stderr=out) as process:
        try:
            wait_for(port, ready, process)
            yield process
        finally:
            process.kill()


def wait_for(port: int, ready: str, process: subprocess.Popen[bytes]) -> None:
    for _ in range(600):
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}{ready}", timeout=5):
                return
        except (OSError, http.client.HTTPException):
            if process.poll() is not None:
                raise RuntimeError(f"{process.args} ended with {process.returncode}") from None
            time.sleep(0.05)
    raise RuntimeError(f"{process.args} did not answer")


@contextmanager
def victoria_metrics(folder: Path, port: int | None = None) -> Iterator[tuple[int, subprocess.Popen[bytes]]]:
    """(port, process) of VictoriaMetrics on `folder`, keeping one value for each millisecond."""
    port = port or free_port()
    command = [
        "victoria-metrics",
        f"-storageDataPath={folder}",
        f"-httpListenAddr=127.0.0.1:{port}",
        "-retentionPeriod=100y",
        "-dedup.minScrapeInterval=1ms",
    ]
    folder.mkdir(parents=True, exist_ok=True)
    with running(command, port, "/health", folder.with_suffix(".log")) as process:
        yield port, process
