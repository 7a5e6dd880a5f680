"""`sootline board find | install | configure | check | log`: a board on a USB port."""

import argparse
import getpass
import json
import runpy
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from sootline.bench import FIRMWARE
from sootline.boards import key, release
from sootline.commands._broker import host_port
from sootline.errors import UserError
from sootline.usb import install, ports, secrets, settings
from sootline.usb.check import check, speaks
from sootline.usb.console import Console, open_console


def add(actions: "argparse._SubParsersAction[Any]") -> None:
    find = actions.add_parser("find", help="list the ports with a board")
    find.set_defaults(run=_find)
    for name, text, act in (
        ("install", "put the board code on it", _install),
        ("configure", "give it its settings; what is missing is asked", _configure),
        ("check", "test it, its sensors and its way to the host", _check),
        ("log", "print what went wrong on it", _log),
    ):
        parser = actions.add_parser(name, help=text, description=f"{text.capitalize()}, over USB.")
        parser.add_argument("port", nargs="?", metavar="PORT", help="default: the only board plugged in")
        parser.set_defaults(run=_at_the_console, act=act, usb_link=False)
        if name == "install":
            parser.add_argument("--source", action="store_true", help="install sources: more memory, line numbers")
        if name == "configure":
            _configure_options(parser)


def _at_the_console(options: argparse.Namespace) -> int:
    port = ports.choose(options.port, input)
    with open_console(port, _say) as console:
        try:
            result = int(options.act(console, options))
        finally:
            console.restart()  # whatever went wrong, a board shall not stand still at its prompt
    if options.usb_link:
        found = speaks(port)
        print(_line(found.what, found.passed, found.detail))
        return max(result, int(not found.passed))
    return result


def _configure_options(parser: argparse.ArgumentParser) -> None:
    parser.epilog = "Passwords and keys are typed when asked, or come from --secrets; they are never arguments."
    parser.add_argument("--furnace", metavar="ID")
    parser.add_argument("--board", choices=("esp32", "picow"), help="default: as its chip says")
    parser.add_argument("--link", choices=("mqtt", "usb"), help="usb: no network, over this very line")
    parser.add_argument("--wifi", metavar="SSID", help="name of the wireless network")
    parser.add_argument("--broker", metavar="ADDRESS[:PORT]", help="the computer that runs sootline")
    parser.add_argument("--user", metavar="NAME", help="the board's account at the broker")
    parser.add_argument("--psk-identity", metavar="NAME", help="encrypt by a pre-shared key of this name")
    parser.add_argument(
        "--probe", action="append", default=[], metavar="ROM=CHANNEL", help="a thermometer (repeatable)"
    )
    parser.add_argument("--data", type=Path, metavar="FOLDER", help="of sootline run: its key may sign updates")
    parser.add_argument("--settings", type=Path, metavar="FILE", help="further settings, JSON as in firmware/README.md")
    parser.add_argument("--secrets", type=Path, metavar="FILE", help=f"TOML, mode 0600: {', '.join(secrets.NAMES)}")


def _find(_: argparse.Namespace) -> int:
    found = ports.boards()
    for port in found:
        print(f"{port.path}  {port.what}")
    if not found:
        print("no board is plugged in (or its cable is one for charging only)")
    return 0 if found else 1


def _install(console: Console, options: argparse.Namespace) -> int:
    made = _sources() if options.source else release.build()
    loads = console.ask("getattr(__import__('sys').implementation, '_mpy', 0) & 255")
    if not options.source and loads != release.MPY_VERSION:
        raise UserError(
            f"{console.path}: its MicroPython loads other bytecode; put MicroPython 1.29 on it, or use --source"
        )
    slot = install.install(console, made, (FIRMWARE / install.LOADER).read_bytes(), _progress)
    print(f"version {made.version} is in slot {slot}; the board starts it now")
    if console.hash(settings.FILE) is None:
        print(f"next: sootline board configure {console.path}")
    return 0


def _sources() -> release.Release:
    files = {
        path.relative_to(FIRMWARE).as_posix(): path.read_bytes()
        for path in sorted((FIRMWARE / "sootboard").rglob("*.py"))
    }
    version = str(runpy.run_path(str(FIRMWARE / "sootboard" / "__init__.py"))["VERSION"])
    return release.Release(version, files, release.manifest(version, files))


def _configure(console: Console, options: argparse.Namespace) -> int:
    settings.use_code(console)
    someone = sys.stdin.isatty()
    secret = secrets.from_person(getpass.getpass) if someone else lambda name: None
    if options.secrets is not None:
        secret = secrets.from_file(options.secrets)
    made = settings.gather(console, _given(options), _probes(options.probe), input if someone else None, secret)
    settings.write(console, made)
    print(f"settings of {made['furnace']} are on the board; next: sootline board check {console.path}")
    return 0


def _given(options: argparse.Namespace) -> dict[str, Any]:
    given: dict[str, Any] = _file(options.settings) if options.settings else {}
    plain = {"furnace": options.furnace, "board": options.board, "link": options.link}
    given.update({name: value for name, value in plain.items() if value is not None})
    if options.wifi:
        given["wifi"] = {"ssid": options.wifi}
    broker: dict[str, Any] = {}
    if options.broker:
        broker["host"], broker["port"] = host_port(options.broker, 8883 if options.psk_identity else 1883)
    if options.user:
        broker["user"] = options.user
    if options.psk_identity:
        broker["tls"] = {"psk_identity": options.psk_identity}
    if options.data:
        given["update_key"] = key.public_hex(key.load(options.data))
    if broker:
        given["broker"] = {**given.get("broker", {}), **broker}
    return given


def _file(path: Path) -> dict[str, Any]:
    try:
        found = json.loads(path.read_text())
    except OSError as error:
        raise UserError(f"{path}: cannot be read: {error.strerror}") from None
    except ValueError as error:
        raise UserError(f"{path}: is no JSON: {error}") from None
    if not isinstance(found, Mapping):
        raise UserError(f"{path}: the settings must be one JSON object")
    return dict(found)


def _probes(given: Sequence[str]) -> dict[str, str]:
    pairs = [text.partition("=") for text in given]
    for rom, _, channel in pairs:
        if len(rom) != 16 or not channel:
            raise UserError(f"'{rom}={channel}' is no ROM=CHANNEL, like 28ff641e0f1600a3=tank")
    return {rom.lower(): channel for rom, _, channel in pairs}


def _check(console: Console, options: argparse.Namespace) -> int:
    failed = 0
    for point in check(console):
        print(_line(point.what, point.passed, point.detail), flush=True)
        failed += not point.passed
    options.usb_link = settings.present(console).get("link") == "usb"
    return int(failed > 0)


def _log(console: Console, options: argparse.Namespace) -> int:
    settings.use_code(console)
    text = console.ask("selfcheck.faults()", 30)
    print(text.rstrip() or "nothing has gone wrong")
    return 0


def _line(what: str, passed: bool, detail: str) -> str:
    return f"{'PASS' if passed else 'FAIL'}  {what:<22} {detail}"


def _say(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


def _progress(done: int, whole: int) -> None:
    if sys.stderr.isatty():
        end = "\n" if done == whole else ""
        print(f"\r{done} of {whole} files", end=end, file=sys.stderr, flush=True)
