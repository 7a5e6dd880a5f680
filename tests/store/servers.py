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


_INFLUX = """
reporting-disabled = true
bind-address = "127.0.0.1:{rpc}"
[meta]
dir = "{folder}/meta"
[data]
dir = "{folder}/data"
wal-dir = "{folder}/wal"
[http]
bind-address = "127.0.0.1:{port}"
[monitor]
store-enabled = false
"""
_NGINX = """
daemon off;
master_process off;
pid {folder}/nginx.pid;
error_log {folder}/nginx-error.log;
events {{}}
http {{
    access_log off;
    client_max_body_size 64m;
    client_body_buffer_size 8m;
    client_body_temp_path {folder}/body;
    proxy_temp_path {folder}/proxy;
    fastcgi_temp_path {folder}/fastcgi;
    uwsgi_temp_path {folder}/uwsgi;
    scgi_temp_path {folder}/scgi;
    map $arg_precision $written {{ us u; default $arg_precision; }}
    server {{
        listen 127.0.0.1:{port};
        location = /api/v2/write {{
            rewrite ^ /write?db=$arg_bucket&precision=$written? break;
            proxy_set_header Authorization "";
            proxy_pass http://127.0.0.1:{behind};
        }}
        location / {{ proxy_pass http://127.0.0.1:{behind}; }}
    }}
}}
"""


@contextmanager
def influxdb(folder: Path, port: int) -> Iterator[subprocess.Popen[bytes]]:
    """InfluxDB 1.x on `folder`, with a database `sootline`."""
    folder.mkdir(parents=True, exist_ok=True)
    settings = folder / "influxdb.conf"
    settings.write_text(_INFLUX.format(folder=folder, port=port, rpc=free_port()))
    with running(["influxd", "-config", str(settings)], port, "/ping", folder.with_suffix(".log")) as process:
        create = urllib.request.Request(f"http://127.0.0.1:{port}/query?q=CREATE+DATABASE+sootline", method="POST")
        with urllib.request.urlopen(create, timeout=30):
            pass
        yield process


@contextmanager
def nginx(folder: Path, port: int, behind: int) -> Iterator[subprocess.Popen[bytes]]:
    """Gives an InfluxDB 1.x on port `behind` the address /api/v2/write."""
    folder.mkdir(parents=True, exist_ok=True)
    settings = folder / "nginx.conf"
    settings.write_text(_NGINX.format(folder=folder, port=port, behind=behind))
    command = ["nginx", "-c", str(settings), "-e", str(folder / "start.log")]
    with running(command, port, "/ping", folder / "nginx.log") as process:
        yield process
