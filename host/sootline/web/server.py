"""The web server in its own thread."""

import asyncio
import ipaddress
import socket
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import uvicorn
from starlette.applications import Starlette

from sootline.errors import UserError

HOW_TO_CERTIFY = (
    "to make both: openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -days 825 "
    "-keyout key.pem -out certificate.pem -subj /CN=$(hostname).local -addext subjectAltName=DNS:$(hostname).local"
)


@dataclass(frozen=True, slots=True)
class Tls:
    """The files that HTTPS needs, in PEM form."""

    certificate: Path
    key: Path


class Server:
    """Serves `app`. Loopback unless told otherwise; port 0 takes any free one.

    tls:     with it, the pages are served by HTTPS
    proxies: addresses or networks of reverse proxies whose X-Forwarded-For and X-Forwarded-Proto are believed
    """

    def __init__(
        self,
        app: Starlette,
        host: str = "127.0.0.1",
        port: int = 8470,
        *,
        tls: Tls | None = None,
        proxies: tuple[str, ...] = (),
    ) -> None:
        self._tls = tls
        self._config = uvicorn.Config(
            app,
            log_config=None,
            access_log=False,
            lifespan="on",
            ws="none",
            server_header=False,
            timeout_graceful_shutdown=1,
            limit_concurrency=500,
            proxy_headers=bool(proxies),
            forwarded_allow_ips=list(proxies),
            ssl_certfile=tls.certificate if tls else None,
            ssl_keyfile=tls.key if tls else None,
        )
        self._server = uvicorn.Server(self._config)
        self._release: Callable[[], None] = app.state.release
        self._host = host
        self.port = port
        self._thread: threading.Thread | None = None

    @property
    def url(self) -> str:
        host = f"[{self._host}]" if ":" in self._host else self._host
        return f"http{'s' if self._tls else ''}://{host}:{self.port}/"

    @property
    def running(self) -> bool:
        return self._thread is not None and self._thread.is_alive()

    def start(self) -> None:
        """Bind, then serve. Raises UserError when the address cannot be had."""
        self._load()
        listener = socket.socket(socket.AF_INET6 if ":" in self._host else socket.AF_INET)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((self._host, self.port))
            listener.listen(128)  # from here on nobody is turned away, though the first answer may take a moment
        except OSError as error:
            listener.close()
            why = error.strerror or str(error)
            raise UserError(
                f"the pages cannot be served on {self._host} port {self.port} ({why}); "
                "stop the other program or choose another port"
            ) from None
        listener.listen(128)  # whoever asks from now on waits a moment and is not turned away
        self.port = listener.getsockname()[1]
        self._thread = threading.Thread(target=self._run, args=(listener,), name="sootline-web", daemon=True)
        self._thread.start()

    def _load(self) -> None:
        """Read certificate and key, so that a wrong one is told and not found out by the first visitor."""
        try:
            self._config.load()
        except (OSError, ValueError) as error:  # ssl.SSLError is an OSError
            why = error.strerror or str(error) if isinstance(error, OSError) else str(error)
            files = f"{self._tls.certificate} and {self._tls.key}" if self._tls else "certificate and key"
            raise UserError(f"{files} cannot be used as certificate and key ({why}); {HOW_TO_CERTIFY}") from None

    def _run(self, listener: socket.socket) -> None:
        asyncio.run(self._server.serve(sockets=[listener]))

    def stop(self, timeout_s: float = 5.0) -> None:
        """Stop serving; open pages are let go at once."""
        self._release()
        self._server.should_exit = True
        if self._thread is not None:
            self._thread.join(timeout_s)


def is_loopback(host: str) -> bool:
    """Whether an address to listen at is this machine's own, which no other can reach."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"
