"""The ways out of the house: one message by one address, through Apprise. Addresses are secret: never in a log."""

import logging
import re
from urllib.parse import unquote

import apprise

TIMEOUT_S = 20.0  # for all of it: a service that never answers must not keep the next message waiting
_QUIET = logging.getLogger("apprise")
_QUIET.propagate = False  # its lines name hosts and topics; what matters of them is told by `send`
_QUIET.addHandler(logging.NullHandler())


def usable(way: str) -> bool:
    """Whether the address is one that Apprise knows how to use."""
    return apprise.Apprise().add(way)


def send(way: str, title: str, body: str, urgent: bool = False) -> str | None:
    """Send it now. None when it has gone out, else why not, in one line without secrets."""
    asset = apprise.AppriseAsset(app_id="sootline", app_desc="sootline", service_timeout=TIMEOUT_S)
    sender = apprise.Apprise(asset=asset)
    if not sender.add(way):
        return "the address is not one that can be used; see `sootline contacts check`"
    lines: list[str] = []
    kind = apprise.NotifyType.FAILURE if urgent else apprise.NotifyType.INFO
    try:
        result = sender.notify(
            body=body or title,
            title=title if body else "",
            notify_type=kind,
            log_level=logging.WARNING,
            log_callback=lambda entry, service: lines.append(entry.message),
        )
    except Exception as error:  # a service's own code, of which there are more than a hundred
        return scrub(f"{type(error).__name__}: {error}", way)
    if result:
        return None
    if result.status == apprise.AppriseResultStatus.TIMEOUT:
        return f"no answer within {TIMEOUT_S:.0f} s"
    return scrub(lines[-1] if lines else "refused", way)


def scrub(text: str, way: str) -> str:
    """The text in one line without what makes the address secret: user, password, path and query."""
    rest = way.partition("://")[2]
    host = re.split(r"[/?#]", rest.rpartition("@")[2] if "@" in rest.split("/")[0] else rest)[0]
    pieces = {piece for piece in re.split(r"[/?&=:@#,]", rest) if piece and piece not in host.split(":")}
    line = " ".join(text.split())[:300]
    for piece in sorted({*pieces, *map(unquote, pieces)}, key=len, reverse=True):
        line = re.sub(rf"(?<!\w){re.escape(piece)}(?!\w)", "…", line)
    return line.replace(way, "…")
