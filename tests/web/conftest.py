"""A workshop with a day of data, its pages, and a browser."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest
from playwright.sync_api import Browser, sync_playwright

from sootline.web.app import build
from sootline.web.server import Server
from tests.web.workshop import CHROMIUM, CHROMIUM_ARGS, NOW_MS, Workshop, fill


@pytest.fixture(scope="session")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workshop]:
    """Four days of `engine-shed`; what is stored is not changed by any test."""
    shop = Workshop(tmp_path_factory.mktemp("workshop"))
    fill(shop)
    yield shop
    shop.close()


@pytest.fixture
def shop(filled: Workshop) -> Iterator[Workshop]:
    filled.live.clear()
    yield filled


@pytest.fixture(scope="session")
def server(filled: Workshop) -> Iterator[Server]:
    server = Server(build(filled.live, filled.folder, now=lambda: NOW_MS), port=0)
    server.start()
    yield server
    server.stop()


@contextmanager
def visitor(server: Server) -> Iterator[httpx.Client]:
    """A browser without a screen."""
    with httpx.Client(base_url=server.url, follow_redirects=True) as client:
        yield client


@pytest.fixture
def client(shop: Workshop, server: Server) -> Iterator[httpx.Client]:
    with visitor(server) as made:
        yield made


@pytest.fixture
def fresh(tmp_path: Path) -> Iterator[tuple[Workshop, httpx.Client]]:
    """A workshop of its own, with nothing in its store."""
    shop = Workshop(tmp_path)
    server = Server(build(shop.live, tmp_path, now=lambda: NOW_MS), port=0)
    server.start()
    with visitor(server) as made:
        yield shop, made
    server.stop()
    shop.close()


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=CHROMIUM_ARGS)
        yield browser
        browser.close()
