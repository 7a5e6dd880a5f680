"""The web server in its own thread."""

import asyncio
import socket
import threading
from collections.abc import Callable

import uvicorn
from starlette.applications import Starlette

from sootline.errors import UserError


class Server:
    """Serves `app`. Loopback unless told otherwise; port 0 takes any free one."""

    def __init__(self, app: Starlette, host: str = "127.0.0.1", port: int = 8470) -> None:
        config = uvicorn.Config(
            app,
            log_config=None,
            access_log=False,
            lifespan="on",
            ws="none",
            server_header=False,
            timeout_graceful_shutdown=1,
            limit_concurrency=500,
        )
        self._server = uvicorn.Server(config)
        self._release: Callable[[], None] = app.state.release
        self._host = host
        self.port = port
        self._thread: threading.Thread | None = None

    @property
    def url(self) -> str:
        host = f"[{self._host}]" if ":" in self._host else self._host
        return f"http://{host}:{self.port}/"

    @property
    def running(self) -> bool:
        return self._thread is not None and self._thread.is_alive()

    def start(self) -> None:
        """Bind, then serve. Raises UserError when the address cannot be had."""
        listener = socket.socket(socket.AF_INET6 if ":" in self._host else socket.AF_INET)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((self._host, self.port))
        except OSError as error:
            listener.close()
            why = error.strerror or str(error)
            raise UserError(
                f"the pages cannot be served on {self._host} port {self.port} ({why}); "
                "stop the other program or choose another port"
            ) from None
        self.port = listener.getsockname()[1]
        self._thread = threading.Thread(target=self._run, args=(listener,), name="sootline-web", daemon=True)
        self._thread.start()

    def _run(self, listener: socket.socket) -> None:
        asyncio.run(self._server.serve(sockets=[listener]))

    def stop(self, timeout_s: float = 5.0) -> None:
        """Stop serving; open pages are let go at once."""
        self._release()
        self._server.should_exit = True
        if self._thread is not None:
            self._thread.join(timeout_s)
