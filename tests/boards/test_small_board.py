"""An update over the air in the memory of a board: 32-bit objects, 96 kB, verified TLS, every channel."""

from pathlib import Path

from sootline.bench import Bench, Board
from sootline.boards import key as keys
from sootline.boards import release as releases
from sootline.boards import update as updates
from sootline.sim.workshop import FURNACES
from tests.firmware.certificates import Authority
from tests.firmware.conftest import Mosquitto, free_port
from tests.firmware.micropython import small_interpreter

from .test_update import COLD, KEY, install, remote, variant, wait_online


def test_a_new_version_in_96_kB(tmp_path: Path) -> None:
    interpreter = small_interpreter()
    plain, secure = free_port(), free_port()
    own = Authority(tmp_path, "own")
    lines = ["per_listener_settings true", f"listener {plain} 127.0.0.1", "allow_anonymous true"]
    lines += [f"listener {secure} 127.0.0.1", "allow_anonymous true", *own.server("broker.test")]
    mosquitto = Mosquitto(tmp_path, lines, plain)
    first = releases.build(KEY)
    folder = install(tmp_path / "board", first)
    new = variant(first, tmp_path / "new", "0.2.0")
    signals = {**dict.fromkeys(FURNACES["engine-shed"].channels, 0.5), **COLD}
    settings = {
        "update_key": keys.public_hex(KEY),
        "broker": {
            "host": "127.0.0.1",
            "port": secure,
            "tls": {"ca": str(own.der), "server_name": "broker.test"},
        },
        "data": str(tmp_path / "flash"),
        "interval": 1,
        "idle_interval": 5,
        "poll_ms": 50,
    }
    said: list[str] = []
    mosquitto.start()
    try:
        with (
            Bench(lambda _: signals) as bench,
            Board(
                "small",
                bench=bench,
                settings=settings,
                directory=folder,
                slots=True,
                heap="96k",
                command=[interpreter],
            ) as board,
            remote(mosquitto, "small") as connection,
        ):
            wait_online(connection)
            assert connection.announced and len(connection.announced["channels"]) >= 20
            updates.update(connection, new, said.append)
            assert said[-1] == "small: the board runs 0.2.0", board.log
            assert board.restarts == 1
            assert (connection.announced["slot"], connection.announced["faults"]) == ("b", [])
    finally:
        mosquitto.stop()
