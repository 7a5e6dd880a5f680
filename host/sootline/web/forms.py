"""What people send: acknowledgements, the shelf, their choice of units."""

from collections.abc import Callable
from urllib.parse import parse_qs, quote

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from sootline.analysis.watch import Key
from sootline.errors import UserError
from sootline.units import SYSTEMS
from sootline.web.alarm_views import shelf_most_min
from sootline.web.people import NAME_COOKIE, NAME_LIMIT, person_of
from sootline.web.render import UNITS_COOKIE, Renderer
from sootline.web.security import form_is_ours, keep_cookie
from sootline.web.source import Live

FORM_LIMIT_BYTES = 16 * 1024
NOTE_LIMIT = 300
GONE = "That alarm is not there any more. Nothing was changed."


class FormError(Exception):
    """A form that cannot be used; its text is shown."""


class Forms:
    def __init__(self, live: Live, renderer: Renderer, now: Callable[[], int]) -> None:
        self._live = live
        self._renderer = renderer
        self._now = now

    async def acknowledge(self, request: Request) -> Response:
        """Somebody has an alarm."""
        try:
            form = await read_form(request)
            by, key = name_of(request, form), _alarm_key(form)
            there = await run_in_threadpool(self._live.acknowledge, key, by)
        except (FormError, UserError) as error:
            return self._refuse(request, str(error))
        return remember(request, back(form), by) if there else self._refuse(request, GONE, 409)

    async def shelve(self, request: Request) -> Response:
        """Somebody wants to hear no more of an alarm for a time, and says why."""
        try:
            form = await read_form(request)
            by, key = name_of(request, form), _alarm_key(form)
            reason = one_line(form.get("reason", ""))[:NOTE_LIMIT]
            if not reason:
                raise FormError("Give the reason, so that the others can judge it.")
            standing = [alarm for now in self._live.furnaces() for alarm in now.alarms if alarm.key == key]
            if not standing:
                return self._refuse(request, GONE, 409)
            minutes = _whole(form.get("minutes"), 1, shelf_most_min(standing[0].priority), "minutes on the shelf")
            until_ms = self._now() + minutes * 60_000
            there = await run_in_threadpool(self._live.shelve, key, until_ms, by, reason)
        except (FormError, UserError) as error:
            return self._refuse(request, str(error))
        return remember(request, back(form), by) if there else self._refuse(request, GONE, 409)

    async def units(self, request: Request) -> Response:
        """°C, L and kPa, or °F, gal and psi."""
        try:
            form = await read_form(request)
            if form.get("system") not in SYSTEMS:
                raise FormError("The form does not name units. Go back and try again.")
        except FormError as error:
            return self._refuse(request, str(error))
        response = back(form)
        keep_cookie(request, response, UNITS_COOKIE, form["system"])
        return response

    def _refuse(self, request: Request, message: str, status: int = 400) -> Response:
        return self._renderer.page(request, "message.html", status, title="Not done", message=message)


def _alarm_key(form: dict[str, str]) -> Key:
    raised = form.get("raised", "")
    if not raised.isdecimal() or len(raised) > 15:
        raise FormError("The form does not name an alarm. Go back and try again.")
    return form.get("furnace", ""), form.get("alarm", ""), form.get("channel") or None, int(raised)


def _whole(text: str | None, low: int, high: int, what: str) -> int:
    if text is None or not text.isdecimal() or len(text) > 6 or not low <= int(text) <= high:
        raise FormError(f"The {what} must be between {low} and {high}.")
    return int(text)


def one_line(text: str) -> str:
    """Printable characters, single spaces."""
    return "".join(c for c in " ".join(text.split()) if c.isprintable()).strip()


def remember(request: Request, response: Response, by: str) -> Response:
    """The answer, with the name kept for this browser's next form where nobody has signed in."""
    if not person_of(request).known:
        keep_cookie(request, response, NAME_COOKIE, quote(by))
    return response


async def read_form(request: Request) -> dict[str, str]:
    """The fields of a posted form that came from one of our own pages."""
    body = b""
    async for piece in request.stream():
        body += piece
        if len(body) > FORM_LIMIT_BYTES:
            raise FormError("The form is too long. Go back and shorten it.")
    try:
        fields = parse_qs(body.decode(), keep_blank_values=True, max_num_fields=50)
    except (UnicodeDecodeError, ValueError):
        raise FormError("The form cannot be read. Go back and try again.") from None
    form = {name: values[-1] for name, values in fields.items()}
    if not form_is_ours(request, form.get("token", "")):
        raise FormError("This form has grown old or came from another page. Go back, reload and try again.")
    return form


def name_of(request: Request, form: dict[str, str]) -> str:
    """Who sends a form: whoever has signed in, else the name they give in it."""
    person = person_of(request)
    return person.name if person.known else given_name(form)


def given_name(form: dict[str, str]) -> str:
    """The name in a form: one line of printable characters."""
    name = one_line(form.get("by", ""))[:NAME_LIMIT].strip()
    if not name:
        raise FormError("Give your name, so that the others know who has it.")
    return name


def back(form: dict[str, str]) -> RedirectResponse:
    """To the page the form was on; never to another host."""
    path = form.get("back", "/")
    local = path.startswith("/") and not path.startswith(("//", "/\\")) and path.isprintable()
    return RedirectResponse(path if local else "/", 303)
