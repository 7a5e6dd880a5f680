"""The logbook on the page: what was done, the form to note it, undoing, photos, and what a page out of reach needs."""

import asyncio
import json
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from sootline import units, wording
from sootline.errors import UserError
from sootline.events import Event
from sootline.logbook import Logged
from sootline.profile import event_of
from sootline.store import Store
from sootline.web import photos
from sootline.web.entry_form import OldForm, logged, new_id, read_entry
from sootline.web.faults import SearchView, search_view
from sootline.web.forms import FormError, name_of, read_form, remember
from sootline.web.log_views import EntryView, ServiceView, entry_views, kind_views, profile_lines, service_views
from sootline.web.people import person_of
from sootline.web.render import Renderer
from sootline.web.security import CSRF_COOKIE, form_token, keep_cookie
from sootline.web.source import Live

SHOWN = 100
KEPT_BEFORE = "This form was used already, and what it says now is something else. Open the log again to note it."
TOO_LATE = "It is undone already, or older than a day. Nothing was changed."


class Logbook:
    def __init__(self, live: Live, store: Store, renderer: Renderer, now: Callable[[], int]) -> None:
        self._live = live
        self._store = store
        self._renderer = renderer
        self._now = now
        self._one_photo = asyncio.Semaphore(1)  # at a time: a picture takes many megabytes while it is drawn anew

    def page(self, request: Request) -> Response:
        """The form, and what was done."""
        now_ms, system = self._now(), self._renderer.system(request)
        lines = self._store.logbook()
        lines += list(profile_lines(self._live.profiles, lines))
        lines = sorted(lines, key=lambda line: -line.entry.at_ms)[:SHOWN]
        book: list[EntryView | SearchView | ServiceView] = [*entry_views(lines, self._events(lines), now_ms, system)]
        book += [search_view(search, now_ms) for search in self._store.searches()[-SHOWN:]]
        book += service_views({name: self._store.service(name) for name in self._furnaces()}, now_ms)
        saved = request.query_params.get("saved", "")
        return self._renderer.page(
            request, "log.html",
            entries=sorted(book, key=lambda view: -view.at_ms)[:SHOWN],
            saved=next((line.id for line in lines if line.id and line.id == saved), None),
            **self._form(request),
        )  # fmt: skip

    def away(self, request: Request) -> Response:
        """The form alone, for pages and phones to keep for when the host is out of reach."""
        return self._renderer.page(request, "away.html", **self._form(request))

    def token(self, request: Request) -> Response:
        """A form token for entries that waited; the cookie that goes with it is set anew."""
        token = form_token(request)
        response = _json({"token": token, "now": self._now()})
        keep_cookie(request, response, CSRF_COOKIE, token, "lax")
        return response

    async def send(self, request: Request) -> Response:
        """Somebody did something at a furnace. A page's own script asks for JSON and keeps what is not answered."""
        scripted = "application/json" in request.headers.get("accept", "")
        try:
            form = await read_entry(request)
            line = logged(form, request, self._furnaces(), self._now(), self._renderer.system(request))
            photo = await self._photo(form.photo)
            kept = await run_in_threadpool(self._live.log, line, photo)
        except (FormError, photos.NotAPhoto) as error:
            return self._refuse(request, str(error), 403 if isinstance(error, OldForm) else 400, scripted)
        except UserError as error:  # not now: the page's script sends it again
            return self._refuse(request, str(error), 503, scripted)
        if not kept:
            return self._refuse(request, KEPT_BEFORE, 409, scripted)
        where = f"/log?furnace={quote(line.furnace)}&saved={quote(line.id)}"
        answer = _json({"kept": where}) if scripted else RedirectResponse(where, 303)
        return answer if person_of(request).known else remember(request, answer, line.by)

    async def _photo(self, data: bytes | None) -> bytes | None:
        if data is None:
            return None
        async with self._one_photo:
            return await run_in_threadpool(photos.kept, data)

    async def undo(self, request: Request) -> Response:
        """Somebody takes back a line."""
        try:
            form = await read_form(request)
            undone = await run_in_threadpool(self._live.undo, form.get("id", ""), name_of(request, form))
        except (FormError, UserError) as error:
            return self._refuse(request, str(error), 400)
        return RedirectResponse("/log", 303) if undone else self._refuse(request, TOO_LATE, 409)

    def photo(self, request: Request) -> Response:
        line = self._store.logged(request.path_params["id"])
        data = self._store.photo(line.id) if line is not None and line.photo else None
        if data is None:
            return self._renderer.not_found(request)
        return Response(data, media_type="image/jpeg", headers={"Cache-Control": "private, max-age=31536000"})

    def _form(self, request: Request) -> dict[str, Any]:
        furnaces, query = self._furnaces(), request.query_params
        return {
            "furnaces": furnaces,
            "kinds": kind_views(),
            "chosen": query.get("furnace") or (next(iter(furnaces)) if len(furnaces) == 1 else ""),
            "kind": query.get("kind", ""),
            "thing": query.get("thing", "")[:40],
            "degree": units.unit_of("temperature", self._renderer.system(request)).label,
            "today": f"{datetime.fromtimestamp(self._now() / 1000):%Y-%m-%dT%H:%M}",
            "id": new_id(),
        }

    def _events(self, lines: Sequence[Logged]) -> dict[tuple[str, str, int], Event]:
        """What the analysis did with each of the lines."""
        found = [
            self._store.events(line.furnace, event_of(line.entry), line.entry.at_ms, line.entry.at_ms + 1)
            for line in lines
        ]
        return {event.key: event for events in found for event in events}

    def _furnaces(self) -> dict[str, str]:
        names = sorted({*self._store.furnaces(), *(now.furnace for now in self._live.furnaces())})
        return {name: wording.furnace_name(name) for name in names}

    def _refuse(self, request: Request, message: str, status: int, scripted: bool = False) -> Response:
        if scripted:
            return _json({"refused": message}, status)
        return self._renderer.page(request, "message.html", status, title="Not done", message=message)


def _json(data: object, status: int = 200) -> Response:
    return Response(json.dumps(data), status, media_type="application/json")
