"""What people send: acknowledgements, their choice of units, their name."""

from collections.abc import Callable
from urllib.parse import parse_qs, quote

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from sootline.units import SYSTEMS
from sootline.web.render import NAME_COOKIE, NAME_LIMIT, UNITS_COOKIE, Renderer
from sootline.web.security import form_is_ours
from sootline.web.source import Live

FORM_LIMIT_BYTES = 16 * 1024
_YEAR_S = 365 * 86400


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
            by = given_name(form)
            raised = form.get("raised", "")
            if not raised.isdigit():
                raise FormError("The form does not name an alarm. Go back and try again.")
        except FormError as error:
            return self._refuse(request, str(error))
        key = (form.get("furnace", ""), form.get("alarm", ""), form.get("channel") or None, int(raised))
        if not await run_in_threadpool(self._live.acknowledge, key, by):
            return self._refuse(request, "That alarm is not there any more. Nothing was changed.", 409)
        response = back(form)
        response.set_cookie(NAME_COOKIE, quote(by), max_age=_YEAR_S, httponly=True, samesite="strict")
        return response

    async def units(self, request: Request) -> Response:
        """°C, L and kPa, or °F, gal and psi."""
        try:
            form = await read_form(request)
            if form.get("system") not in SYSTEMS:
                raise FormError("The form does not name units. Go back and try again.")
        except FormError as error:
            return self._refuse(request, str(error))
        response = back(form)
        response.set_cookie(UNITS_COOKIE, form["system"], max_age=_YEAR_S, httponly=True, samesite="strict")
        return response

    def _refuse(self, request: Request, message: str, status: int = 400) -> Response:
        return self._renderer.page(request, "message.html", status, title="Not done", message=message)


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


def given_name(form: dict[str, str]) -> str:
    """The name in a form: one line of printable characters."""
    words = form.get("by", "").split()
    name = "".join(c for c in " ".join(words) if c.isprintable())[:NAME_LIMIT].strip()
    if not name:
        raise FormError("Give your name, so that the others know who has it.")
    return name


def back(form: dict[str, str]) -> RedirectResponse:
    """To the page the form was on; never to another host."""
    path = form.get("back", "/")
    local = path.startswith("/") and not path.startswith(("//", "/\\")) and path.isprintable()
    return RedirectResponse(path if local else "/", 303)
