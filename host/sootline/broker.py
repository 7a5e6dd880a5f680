"""Our own broker: mosquitto with settings written here, run and watched as a child.

It listens on loopback only. Boards on the network reach it through a second listener that exists only with a password
file; each board's user name is its furnace, and it may speak for no other.
"""

import contextlib
import logging
import os
import shutil
import signal
import socket
import subprocess
import threading
import time
from dataclasses import dataclass
from pathlib import Path

from sootline.errors import UserError
from sootline.wire import topics

log = logging.getLogger(__name__)

DEFAULT_PORT = 8471
_START_S = 10.0
_LOG_BYTES = 2 * 2**20
_RETRY_S = (0.5, 30.0)
_PLACES = ("/usr/sbin", "/usr/local/sbin", "/opt/homebrew/sbin", "/usr/local/bin")

_SETTINGS = """\
# Written by sootline at each start; changes here are lost.
per_listener_settings true
pid_file {folder}/mosquitto.pid
persistence true
persistence_location {folder}/
autosave_on_changes true
autosave_interval {autosave}
max_queued_messages 0
max_inflight_messages 200
set_tcp_nodelay true
message_size_limit 8388608
log_dest file {folder}/mosquitto.log
log_type error
log_type warning
log_type notice
connection_messages false
listener {port} 127.0.0.1
allow_anonymous true
"""

_NETWORK = """\
listener {port} {host}
allow_anonymous false
password_file {folder}/passwords
acl_file {folder}/permissions
"""

_PERMISSIONS = """\
pattern write {root}/%u/measurements
pattern write {root}/%u/board
pattern write {root}/%u/command-result
pattern read {root}/%u/command
"""

AUTOSAVE_CHANGES = 1


@dataclass(frozen=True, slots=True)
class Network:
    """Where boards on the network may connect. passwords: file of `furnace:password` lines in plain text."""

    host: str
    port: int
    passwords: Path


class Broker:
    """A mosquitto of our own. `port` 0 takes any free one.

    Raises UserError when mosquitto is not installed, the port is taken or the settings are refused.
    """

    def __init__(
        self, folder: Path, port: int = DEFAULT_PORT, network: Network | None = None, root: str = topics.ROOT
    ) -> None:
        self._folder = folder.resolve()
        self._network = network
        self._root = root
        self.port = port or _free_port()
        self._program = _find("mosquitto")
        self._child: subprocess.Popen[bytes] | None = None
        self._stopping = threading.Event()
        self._watcher = threading.Thread(target=self._watch, name="broker", daemon=True)

    @property
    def pid(self) -> int | None:
        return self._child.pid if self._child else None

    def __enter__(self) -> "Broker":
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def start(self) -> None:
        """Start it and wait until it listens; from then on it is started again whenever it dies."""
        self._folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        self._write_settings()
        end_stale(self._folder)
        _shorten(self._folder / "mosquitto.log")
        self._refuse_taken("127.0.0.1", self.port)
        if self._network:
            self._refuse_taken(self._network.host, self._network.port)
        self._launch()
        self._await_listening()
        self._watcher.start()

    def stop(self) -> None:
        """End it; it keeps what it holds for the next start."""
        self._stopping.set()
        child = self._child
        if child is not None and child.poll() is None:
            child.terminate()
            try:
                child.wait(5)
            except subprocess.TimeoutExpired:
                child.kill()
                child.wait()
        if self._watcher.is_alive():
            self._watcher.join(5)

    def _write_settings(self) -> None:
        settings = _SETTINGS.format(folder=self._folder, port=self.port, autosave=AUTOSAVE_CHANGES)
        if self._network is not None:
            settings += _NETWORK.format(folder=self._folder.resolve(), port=self._network.port, host=self._network.host)
            _private(self._folder / "permissions", _PERMISSIONS.format(root=self._root))
            self._write_passwords(self._network.passwords)
        if os.geteuid() == 0:
            settings += "user root\n"  # else it would give up its rights and could not write its folder
        _private(self._folder / "mosquitto.conf", settings)

    def _write_passwords(self, plain: Path) -> None:
        try:
            lines = [line for line in plain.read_text().splitlines() if line.strip()]
        except (OSError, UnicodeDecodeError) as error:
            raise UserError(f"{plain}: cannot be read: {getattr(error, 'strerror', None) or error}") from None
        for number, line in enumerate(lines, 1):
            furnace, colon, password = line.partition(":")
            if not colon or not password or not topics.FURNACE_ID.fullmatch(furnace):
                raise UserError(f"{plain}: line {number} must be a furnace id, a colon and a password")
        path = self._folder / "passwords"
        _private(path, "\n".join(lines) + "\n")
        done = subprocess.run([_find("mosquitto_passwd"), "-U", str(path)], capture_output=True, text=True)
        if done.returncode:
            raise UserError(f"{plain}: cannot be used: {done.stderr.strip()}")

    def _refuse_taken(self, host: str, port: int) -> None:
        family = socket.AF_INET6 if ":" in host else socket.AF_INET
        with socket.socket(family) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((host, port))
            except OSError as error:
                raise UserError(
                    f"the broker cannot listen on {host} port {port} ({error.strerror}); stop the other program, "
                    "choose another port, or give the broker that runs there with --broker"
                ) from None

    def _launch(self) -> None:
        self._child = subprocess.Popen(
            [self._program, "-c", str(self._folder / "mosquitto.conf")],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,  # a Ctrl-C at the terminal is for the host, which ends it in order
        )

    def _await_listening(self) -> None:
        child, until = self._child, time.monotonic() + _START_S
        while child is not None and child.poll() is None and time.monotonic() < until:
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", self.port), 1.0):
                return
            time.sleep(0.01)
        self.stop()
        raise UserError(f"mosquitto did not start: {self._last_words()}")

    def _last_words(self) -> str:
        with contextlib.suppress(OSError):
            lines = (self._folder / "mosquitto.log").read_text(errors="replace").splitlines()
            if lines:
                return lines[-1].partition(": ")[2] or lines[-1]
        return f"see {self._folder / 'mosquitto.log'}"

    def _watch(self) -> None:
        """Start it again when it dies, at once the first time, then less and less often."""
        delay_s = _RETRY_S[0]
        while not self._stopping.is_set():
            child = self._child
            if child is None:
                return
            started = time.monotonic()
            code = child.wait()
            if self._stopping.is_set():
                return
            if time.monotonic() - started > 60.0:
                delay_s = _RETRY_S[0]
            log.warning("the broker has died (status %d); starting it again", code)
            if self._stopping.wait(delay_s):
                return
            delay_s = min(2 * delay_s, _RETRY_S[1])
            self._launch()


def _find(program: str) -> str:
    found = shutil.which(program, path=os.pathsep.join([os.environ.get("PATH", ""), *_PLACES]))
    if found is None:
        raise UserError(
            f"{program} is not installed; on Debian and Raspberry Pi OS: sudo apt install mosquitto; "
            "or give a broker that runs elsewhere with --broker"
        )
    return found


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _private(path: Path, text: str) -> None:
    """Write a file only its owner can read."""
    path.unlink(missing_ok=True)
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
        file.write(text)


def _shorten(path: Path) -> None:
    """Keep one earlier log; a log is for the last weeks, not for years."""
    if path.exists() and path.stat().st_size > _LOG_BYTES:
        path.replace(path.with_suffix(".log.1"))


def end_stale(folder: Path) -> None:
    """End the broker of a host that was killed: it still holds the port and this folder."""
    try:
        pid = int((folder / "mosquitto.pid").read_text())
    except (OSError, ValueError):
        return
    if not _is_ours(pid, folder):
        return
    log.info("ending the broker (process %d) that an earlier host left behind", pid)
    for ending in (signal.SIGTERM, signal.SIGKILL):
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid, ending)
        until = time.monotonic() + 5.0
        while time.monotonic() < until:
            if not _is_ours(pid, folder):
                return
            time.sleep(0.02)


def _is_ours(pid: int, folder: Path) -> bool:
    """Whether the process is a mosquitto that runs with this folder's settings."""
    command = _command_line(pid)
    return "mosquitto" in command and str(folder / "mosquitto.conf") in command


def _command_line(pid: int) -> str:
    """How a running process was started; empty for one that has ended."""
    if Path("/proc/self/cmdline").exists():
        with contextlib.suppress(OSError):
            return Path(f"/proc/{pid}/cmdline").read_bytes().replace(b"\0", b" ").decode(errors="replace")
        return ""
    return subprocess.run(["ps", "-ww", "-o", "args=", "-p", str(pid)], capture_output=True, text=True).stdout
