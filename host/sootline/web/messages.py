"""The page of messages: who is told, by what, whether it gets through, what was said; and service mode."""

from collections.abc import Callable
from pathlib import Path
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from sootline.errors import UserError
from sootline.files import contacts
from sootline.messages.contacts import Contacts
from sootline.messages.digest import DAY_MS, Past
from sootline.store import Store
from sootline.web.forms import FormError, back, name_of, read_form, remember
from sootline.web.message_views import contact_view, message_view
from sootline.web.render import Renderer
from sootline.web.source import Live

ROWS = 40
PAST_MS = 35 * DAY_MS
SERVICE_HOURS = (1, 2, 4, 8)
REASON_LIMIT = 120
NO_CODE = "No test or note of the last month that went to this person has that code. Look at the newest one."


class Messages:
    def __init__(self, live: Live, store: Store, renderer: Renderer, folder: Path, now: Callable[[], int]) -> None:
        self._live = live
        self._store = store
        self._renderer = renderer
        self._folder = folder
        self._now = now

    def page(self, request: Request) -> Response:
        """Everybody who is told, and what was said."""
        now_ms = self._now()
        try:
            people, problem = contacts.load(self._folder / contacts.NAME), None
        except UserError as error:
            people, problem = Contacts(), str(error)
        before = request.query_params.get("before", "")
        before_ms = int(before) if before.isdecimal() and len(before) < 15 else None
        said = self._store.messages(before_ms=before_ms, most=ROWS + 1)
        past = Past(self._store.alarms(since_ms=now_ms - 2 * DAY_MS), self._store.messages(now_ms - PAST_MS))
        ways = {contact.name: len(contact.ways) for contact in people.people}
        beat = self._store.recall("heartbeat")
        return self._renderer.page(
            request,
            "messages.html",
            contacts=[contact_view(contact, past, now_ms) for contact in people.people],
            problem=problem,
            file=contacts.NAME,
            heartbeat=people.heartbeat is not None,
            beat_ms=beat["at_ms"] if isinstance(beat, dict) else None,
            said=[message_view(message, now_ms, ways.get(message.contact, 1)) for message in said[:ROWS]],
            before=before_ms,
            more_ms=said[ROWS - 1].made_ms if len(said) > ROWS else None,
            done=request.query_params.get("done", ""),
        )

    async def confirm(self, request: Request) -> Response:
        """Somebody says that a test or note has come."""
        try:
            form = await read_form(request)
            by, code = name_of(request, form), "".join(form.get("code", "").split())
            there = await run_in_threadpool(self._live.confirm, form.get("contact", ""), code, by)
            if not there:
                raise FormError(NO_CODE)
        except (FormError, UserError) as error:
            return self._refuse(request, str(error))
        return remember(request, RedirectResponse("/messages?done=confirmed", 303), by)

    async def test(self, request: Request) -> Response:
        """Somebody wants a test to be sent."""
        try:
            form = await read_form(request)
            if not await run_in_threadpool(self._live.try_way, form.get("contact", "")):
                raise FormError("There is no such contact any more.")
        except (FormError, UserError) as error:
            return self._refuse(request, str(error))
        return RedirectResponse("/messages?done=tested", 303)

    async def service(self, request: Request) -> Response:
        """Somebody begins to work on a furnace, or ends it."""
        furnace = request.path_params["furnace"]
        try:
            form = await read_form(request)
            by = name_of(request, form)
            if all(now.furnace != furnace for now in self._live.furnaces()):
                return self._renderer.not_found(request)
            hours = form.get("hours", "")
            if hours != "0" and hours not in map(str, SERVICE_HOURS):
                raise FormError("Choose how long you will work on it.")
            reason = " ".join(form.get("reason", "").split())[:REASON_LIMIT]
            if hours != "0" and not reason:
                raise FormError("Say what you do, so that the others know why it is quiet.")
            until_ms = self._now() + int(hours) * 3_600_000
            await run_in_threadpool(self._live.serve, furnace, until_ms, by, reason)
        except (FormError, UserError) as error:
            return self._refuse(request, str(error))
        to = back(form) if form.get("back") else RedirectResponse(f"/furnace/{quote(furnace)}", 303)
        return remember(request, to, by)

    def _refuse(self, request: Request, message: str) -> Response:
        return self._renderer.page(request, "message.html", 400, title="Not done", message=message)
