"""Both kinds of server, started on free ports for each module that wants them, emptied by using new names."""

import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from sootline.mirror import InfluxReader, LineServer, PrometheusReader
from sootline.store import Store
from tests.store.servers import free_port, influxdb, nginx, victoria_metrics


class Engine:
    """A real server that can be killed and started again on the same data."""

    def __init__(self, kind: str, folder: Path) -> None:
        self.kind, self._folder = kind, folder
        self.port, self._behind = free_port(), free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        self._front = ExitStack()
        self._running = ExitStack()
        self.start()
        if kind == "influxdb":
            self._front.enter_context(nginx(folder / "front", self.port, self._behind))

    def start(self) -> None:
        if self.kind == "influxdb":
            self._process = self._running.enter_context(influxdb(self._folder / "data", self._behind))
        else:
            _, self._process = self._running.enter_context(victoria_metrics(self._folder / "data", self.port))

    def kill(self) -> None:
        self._process.kill()
        self._running.close()
        time.sleep(1.1)  # VictoriaMetrics tells when it was started to the second

    def close(self) -> None:
        self._front.close()
        self._process.kill()
        self._running.close()

    def reader(self) -> PrometheusReader | InfluxReader:
        return InfluxReader(self.url) if self.kind == "influxdb" else PrometheusReader(self.url)

    def line_server(self) -> LineServer:
        return LineServer(self.url, "sootline", "user:password")


@pytest.fixture(params=["victoria-metrics", "influxdb"])
def engine(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Engine]:
    engine = Engine(request.param, tmp_path / "server")
    yield engine
    engine.close()


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "store") as store:
        yield store
