"""A receiver on this machine: it writes what it gets into a file. The demo's people have no other."""

import json
import threading
from collections.abc import Callable
from datetime import datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path


class Inbox:
    """Listens on loopback from start to close; what comes to /NAME is for that person.

    heard: called with the person and the first line of each message
    """

    def __init__(self, file: Path, heard: Callable[[str, str], None] = lambda name, title: None) -> None:
        self.file = file
        self._heard = heard
        self._turn = threading.Lock()
        self._server = ThreadingHTTPServer(("127.0.0.1", 0), self._handler())
        self._server.daemon_threads = True
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.1,), name="inbox", daemon=True)
        self._thread.start()

    def _handler(self) -> type[BaseHTTPRequestHandler]:
        inbox = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(min(int(self.headers.get("content-length") or 0), 65_536))
                try:
                    post = json.loads(body)
                    title, text = str(post["title"]), str(post["message"])
                except (ValueError, KeyError, TypeError):
                    self.send_error(400)
                    return
                name = self.path.strip("/").capitalize()
                inbox.write(name, title, text, datetime.now())
                inbox._heard(name, title or text)
                self.send_response(200)
                self.send_header("content-length", "0")
                self.end_headers()

            def log_message(self, format: str, *args: object) -> None:
                """Nothing on the terminal."""

        return Handler

    def way(self, name: str) -> str:
        """The address of a person here."""
        return f"json://127.0.0.1:{self._server.server_address[1]}/{name.lower()}"

    def write(self, name: str, title: str, text: str, at: datetime) -> None:
        """Add a message to the file."""
        with self._turn, self.file.open("a", encoding="utf-8") as file:
            file.write("\n".join((f"--- {at:%a %d %b %H:%M} to {name}", title, text, "", "")))

    def close(self) -> None:
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()
