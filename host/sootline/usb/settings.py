"""A board's settings put together from what it has, a file, options and answers, and checked by the board first."""

import json
from collections.abc import Callable, Mapping
from typing import Any

from sootline.channels import CHANNELS
from sootline.errors import UserError
from sootline.usb.console import BoardError, Console
from sootline.usb.install import next_slot
from sootline.usb.secrets import NAMES

FILE = "config.json"
# What the hardware booklet always fits; everything else is optional.
FITTED: dict[str, Any] = {
    "spi": {
        "cs_stack": {"chip": "max31856", "channel": "stack"},
        "cs_nozzle": {"chip": "max31865", "channel": "nozzle"},
    },
    "contacts": {"di_refill": "pump"},
}
_BOARDS = {"esp32": "esp32", "rp2": "picow"}

Secret = Callable[[str], str | None]
Ask = Callable[[str], str]


def use_code(console: Console) -> None:
    """Make the board code of the slot that runs importable at the prompt. Raises UserError where there is none."""
    slot = next_slot(console)
    if slot is None:
        raise UserError(
            f"{console.path}: there is no board code on it yet; first: sootline board install {console.path}"
        )
    console.run(f"import sys\nsys.path.insert(0, {slot!r})\nfrom sootboard import selfcheck")


def present(console: Console) -> dict[str, Any]:
    """The settings on the board, secrets replaced by a mark; empty where there are none that can be read."""
    found = console.ask("selfcheck.settings()")
    return found if isinstance(found, dict) else {}


def gather(
    console: Console, given: Mapping[str, Any], probes: Mapping[str, str], ask: Ask | None, secret: Secret
) -> dict[str, Any]:
    """The settings to be: what is on the board, changed by `given` (dicts are merged), completed by questions.

    probes: channel by ROM id; ask: None where nobody can be asked
    """
    before = present(console)
    settings = before or {"board": _board(console), **json.loads(json.dumps(FITTED))}
    _merge(settings, given)
    _complete(settings, ask)
    _name_probes(console, settings, probes, ask)
    _add_secrets(settings, secret)
    return settings


def write(console: Console, settings: Mapping[str, Any]) -> None:
    """Put them on the board, if its own code accepts them; else the old ones stay. Raises UserError."""

    def check(temporary: str) -> None:
        try:
            console.run(f"selfcheck.accept({temporary!r})")
        except BoardError as error:
            text = str(error).partition("ConfigError: ")[2]
            raise UserError(f"these settings cannot be: {text or error}") from None

    console.put(FILE, json.dumps(settings, indent=1).encode(), check)


def _board(console: Console) -> str:
    return _BOARDS.get(console.ask("__import__('sys').platform"), "esp32")


def _merge(into: dict[str, Any], new: Mapping[str, Any]) -> None:
    for key, value in new.items():
        if isinstance(value, Mapping) and isinstance(into.get(key), dict):
            _merge(into[key], value)
        else:
            into[key] = value


def _complete(settings: dict[str, Any], ask: Ask | None) -> None:
    """Ask for what no board can do without."""
    if "furnace" not in settings:
        settings["furnace"] = _answer(ask, "name of the furnace (small letters, digits, dashes)", "--furnace")
    if settings.get("link", "mqtt") == "usb":
        return
    broker = settings.setdefault("broker", {})
    if "host" not in broker:
        broker["host"] = _answer(ask, "address of the computer that runs sootline", "--broker")
    broker.setdefault("port", 1883)
    if "ssid" not in settings.setdefault("wifi", {}):
        settings["wifi"]["ssid"] = _answer(ask, "name of the wireless network", "--wifi")
    settings.setdefault("ntp", {"host": broker["host"]})


def _answer(ask: Ask | None, what: str, option: str) -> str:
    answer = ask(f"{what}: ").strip() if ask else ""
    if not answer:
        raise UserError(f"{what}: not given; use {option}")
    return answer


def _name_probes(console: Console, settings: dict[str, Any], probes: Mapping[str, str], ask: Ask | None) -> None:
    """Bind each thermometer on the line to a channel; warmed in the hand, one shows which it is."""
    named = settings.setdefault("onewire", {})
    named.update(probes)
    free = [name for name, channel in CHANNELS.items() if channel.unit == "Cel" and name not in ("stack", "nozzle")]
    for rom, value, fault in console.ask(f"selfcheck.probes({settings['board']!r})"):
        if rom in named or ask is None:
            continue
        left = [name for name in free if name not in named.values()]
        reading = f"{value:.1f} °C" if value is not None else str(fault)
        answer = ask(f"thermometer {rom} reads {reading}; it is ({', '.join(left)}; Enter: none): ").strip()
        if answer:
            if answer not in left:
                raise UserError(f"'{answer}' is none of {', '.join(left)}; nothing was changed")
            named[rom] = answer


def _add_secrets(settings: dict[str, Any], secret: Secret) -> None:
    for name in _needed(settings):
        value = secret(name)
        place = settings
        *path, last = NAMES[name][1]
        for key in path:
            place = place[key]
        if value is not None:
            place[last] = value


def _needed(settings: Mapping[str, Any]) -> list[str]:
    if settings.get("link", "mqtt") == "usb":
        return []
    broker = settings["broker"]
    names = ["wifi_password"]
    if broker.get("user"):
        names.append("broker_password")
    if (broker.get("tls") or {}).get("psk_identity"):
        names.append("psk_key")
    return names
