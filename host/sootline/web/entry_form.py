"""The posted form of a log entry: read within bounds, checked, and made into a line of the logbook."""

import secrets
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import get_args

from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.types import Message, Receive

from sootline.logbook import ID, Logged
from sootline.profile import LogEntry, LogKind
from sootline.units import System, show, unit_of
from sootline.web import photos
from sootline.web.forms import FORM_LIMIT_BYTES, NOTE_LIMIT, FormError, given_name, one_line
from sootline.web.people import NAME_LIMIT, person_of
from sootline.web.security import form_is_ours

OLDEST_ENTRY_MS = 400 * 86_400_000
MOST_FIELDS = 60
_KINDS: tuple[LogKind, ...] = get_args(LogKind)


class OldForm(FormError):
    """The form is not one of ours, or has grown old: with a new token it may be sent again."""


@dataclass(frozen=True, slots=True)
class EntryForm:
    """The last value of each field, what was tapped beside it, and the photo as it came."""

    fields: dict[str, str]
    chips: tuple[str, ...]
    photo: bytes | None


def new_id() -> str:
    """An id for a form that has no script to make one."""
    return secrets.token_hex(16)


async def read_entry(request: Request) -> EntryForm:
    """The form, urlencoded or with a photo. Raises OldForm, FormError (too long, unreadable)."""
    most = photos.MOST_BYTES + FORM_LIMIT_BYTES
    length = request.headers.get("content-length", "0")
    if not length.isdecimal() or int(length) > most:
        raise FormError("The photo is too big. Take it again at a smaller size, or leave it out.")
    try:
        form = await Request(request.scope, _limited(request, most)).form(
            max_files=1, max_fields=MOST_FIELDS, max_part_size=FORM_LIMIT_BYTES
        )
    except HTTPException:
        raise FormError("The form cannot be read. Go back and try again.") from None
    try:
        return await _taken(request, form)
    finally:
        await form.close()


def _limited(request: Request, most: int) -> Receive:
    taken = 0

    async def receive() -> Message:
        nonlocal taken
        message = await request.receive()
        taken += len(message.get("body", b""))
        if taken > most:
            raise FormError("The photo is too big. Take it again at a smaller size, or leave it out.")
        return message

    return receive


async def _taken(request: Request, form: FormData) -> EntryForm:
    fields = {name: value for name, value in form.multi_items() if isinstance(value, str)}
    if not form_is_ours(request, fields.get("token", "")):
        raise OldForm("This form has grown old or came from another page. Go back, reload and try again.")
    chips = tuple(one_line(value) for value in form.getlist("chip") if isinstance(value, str))
    photo = form.get("photo")
    data = await photo.read() if isinstance(photo, UploadFile) and photo.size else None
    return EntryForm(fields, chips, data)


def logged(form: EntryForm, request: Request, furnaces: Collection[str], now_ms: int, system: System) -> Logged:
    """The line to keep. Raises FormError with what to change."""
    fields = form.fields
    furnace = fields.get("furnace", "")
    if furnace not in furnaces:
        raise FormError("Choose the furnace.")
    id = fields.get("id", "") or new_id()
    if not ID.fullmatch(id):
        raise FormError("The form cannot be read. Go back and try again.")
    entry = log_entry(fields, form.chips, now_ms, system)
    return Logged(id, furnace, entry, _who(request, fields), now_ms, form.photo is not None)


def _who(request: Request, fields: dict[str, str]) -> str:
    """Whoever did it: a phone may have kept the entry while somebody else signed in on it."""
    person, noted = person_of(request), one_line(fields.get("by", ""))[:NAME_LIMIT].strip()
    if not person.known:
        return given_name(fields)
    return person.name if noted in ("", person.name) else f"{noted}, sent by {person.name}"


def log_entry(fields: dict[str, str], chips: tuple[str, ...], now_ms: int, system: System) -> LogEntry:
    """What was done, as the analysis takes it. Raises FormError with what to change."""
    kind = next((kind for kind in _KINDS if kind == fields.get("kind")), None)
    if kind is None:
        raise FormError("Choose what was done.")
    at_ms = _when(fields, now_ms)
    words = [one_line(fields.get("thing", ""))[:40], *chips, one_line(fields.get("note", ""))]
    note = "; ".join(word for word in words if word)[:NOTE_LIMIT] or None
    if kind != "setpoint":
        return LogEntry(at_ms, kind, note=note)
    channel = fields.get("channel", "")
    if channel not in ("tank", "nozzle"):
        raise FormError("Choose whose set point was changed: day tank or nozzle.")
    return LogEntry(at_ms, kind, channel, _set_point_C(fields.get("value", ""), system), note)


def _set_point_C(text: str, system: System) -> float:
    try:
        shown = float(text.replace(",", "."))
    except ValueError:
        raise FormError("Give the new set point as a number.") from None
    unit = unit_of("temperature", system)
    value_C = round((shown - unit.offset) / unit.scale, 2)
    if not 0 <= value_C <= 200:
        low, high = show(0, "temperature", system), show(200, "temperature", system)
        raise FormError(f"The new set point must lie between {low} and {high}.")
    return value_C


def _when(fields: dict[str, str], now_ms: int) -> int:
    """The time a person gave, in the host's zone; else the moment of the tap as the page reckoned it; else now.

    The page reckons by the host's clock and how long ago it asked; what cannot be right for all that is taken as now.
    """
    text = fields.get("at", "")
    if not text:
        tapped = fields.get("tapped", "")
        tapped_ms = int(tapped) if tapped.isdecimal() and len(tapped) < 16 else now_ms
        return tapped_ms if now_ms - OLDEST_ENTRY_MS <= tapped_ms <= now_ms else now_ms
    try:
        at_ms = round(datetime.fromisoformat(text).timestamp() * 1000)
    except (ValueError, OverflowError, OSError):
        raise FormError("Give the time as a date and a time of day.") from None
    if at_ms > now_ms + 60_000:
        raise FormError("That time has not come yet. Note it when it is done.")
    if at_ms < now_ms - OLDEST_ENTRY_MS:
        raise FormError("That is more than a year ago; put it into the furnace's profile instead.")
    return min(at_ms, now_ms)
