"""A workshop whose people have accounts, and the ways in: over HTTP, by browser, through a proxy, by a link."""

import re
import subprocess
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
from starlette.applications import Starlette

from sootline.people.people import People
from sootline.web.app import build
from sootline.web.people import LINK_COOKIE, SESSION_COOKIE
from sootline.web.server import Server
from tests.service.kit import free_port
from tests.web.workshop import NOW_MS, Workshop

WORDS = "brass whistle nine"
STAFF = {"Maud": "owner", "Pim": "helper", "Jory": "viewer"}

_NGINX = """
daemon off;
master_process off;
pid {folder}/nginx.pid;
error_log {folder}/nginx-error.log;
events {{}}
http {{
    access_log off;
    client_body_temp_path {folder}/body;
    proxy_temp_path {folder}/proxy;
    fastcgi_temp_path {folder}/fastcgi;
    uwsgi_temp_path {folder}/uwsgi;
    scgi_temp_path {folder}/scgi;
    server {{
        listen 127.0.0.1:{port} ssl;
        ssl_certificate {folder}/certificate.pem;
        ssl_certificate_key {folder}/key.pem;
        location / {{
            proxy_pass http://127.0.0.1:{behind};
            proxy_set_header Host $http_host;
            proxy_set_header X-Forwarded-For $proxy_add_x_forwarded_for;
            proxy_set_header X-Forwarded-Proto $scheme;
        }}
    }}
}}
"""


@dataclass
class Staffed:
    """A workshop with an owner, a helper and a viewer; `now_ms` is the clock of the pages."""

    shop: Workshop
    people: People

    def build(self, local: bool = True) -> Starlette:
        return build(self.shop.live, self.shop.folder, now=lambda: self.shop.now_ms, local=local)

    def cookies(self, who: str) -> dict[str, str]:
        """Of somebody who has signed in, of a guest by link (all, or one), or of nobody."""
        if who in STAFF:
            return {SESSION_COOKIE: self.people.sign_in(who, self.shop.now_ms)}
        if who.startswith("link to "):
            furnace = None if who == "link to all" else who.removeprefix("link to ")
            return {LINK_COOKIE: self.people.share("Neighbour", furnace, 3, "Maud", self.shop.now_ms)}
        return {}


@contextmanager
def staffed(folder: Path) -> Iterator[Staffed]:
    shop = Workshop(folder)
    with closing(People(folder)) as people, closing(shop):
        for name, role in STAFF.items():
            people.add(name, role, WORDS, NOW_MS)  # type: ignore[arg-type]
        yield Staffed(shop, people)


@contextmanager
def served(app: Starlette, port: int = 0, **options: Any) -> Iterator[Server]:
    server = Server(app, port=port, **options)
    server.start()
    try:
        yield server
    finally:
        server.stop()


def token(client: httpx.Client, path: str = "/sign-in") -> str:
    found = re.search(r'data-token="([\w-]{43})"', client.get(path).text)
    assert found
    return found[1]


def enter(client: httpx.Client, name: str, password: str = WORDS, **options: Any) -> httpx.Response:
    """Fill the sign-in form in and send it."""
    sent = {"token": token(client), "back": "/log", "name": name, "password": password}
    return client.post("/sign-in", data=sent, **options)


def certificate(folder: Path, command: str) -> None:
    """Make key and certificate in `folder` with the command that sootline prints."""
    subprocess.run(["sh", "-c", command], cwd=folder, check=True, capture_output=True, timeout=60)


@contextmanager
def nginx(folder: Path, behind: int) -> Iterator[str]:
    """nginx with HTTPS in front of port `behind`; gives the address to use."""
    port = free_port()
    settings = folder / "nginx.conf"
    settings.write_text(_NGINX.format(folder=folder, port=port, behind=behind))
    process = subprocess.Popen(["nginx", "-c", str(settings), "-e", str(folder / "start.log")])
    try:
        until = time.monotonic() + 20
        while True:
            try:
                httpx.get(f"https://127.0.0.1:{port}/sign-in", verify=False)
                break
            except httpx.TransportError:
                assert process.poll() is None and time.monotonic() < until, (folder / "start.log").read_text()
                time.sleep(0.05)
        yield f"https://127.0.0.1:{port}/"
    finally:
        process.terminate()
        process.wait(20)
