"""Templates filled with views: whole pages for a browser, and the parts that live updates replace."""

from collections.abc import Callable
from typing import Any

import jinja2
from starlette.requests import Request
from starlette.responses import HTMLResponse

from sootline import __version__, wording
from sootline.people.person import Person, Role, at_least, may
from sootline.units import SYSTEMS, System, age, clock
from sootline.web.assets import Assets
from sootline.web.feed import Parts
from sootline.web.people import person_of
from sootline.web.security import CSRF_COOKIE, form_token, keep_cookie
from sootline.web.source import Live
from sootline.web.views import FurnaceView, furnace_view, summary

SHARED_MENU = {"/", "/alarms", "/log"}
GUESTS_TROUBLE = "the host has a trouble of its own, so what stands here may be old; tell the owner"
UNITS_COOKIE = "sootline_units"


class Renderer:
    """Thread-safe: views are made anew for each call, templates are read once."""

    def __init__(self, live: Live, assets: Assets, units: System, now: Callable[[], int]) -> None:
        self._live = live
        self._units = units
        self._now = now
        self.assets = assets
        self.menu: tuple[tuple[str, str, Role], ...] = ()
        self._templates = jinja2.Environment(
            loader=jinja2.FileSystemLoader(assets.templates),
            autoescape=True,
            undefined=jinja2.StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
            auto_reload=False,
        )
        self._templates.globals.update(
            url=assets.url,
            version=__version__,
            co_notice=wording.CO_NOTICE,
            watches_only=wording.WATCHES_ONLY,
        )

    def system(self, request: Request) -> System:
        """The units this browser has chosen."""
        chosen = request.cookies.get(UNITS_COOKIE)
        return next((system for system in SYSTEMS if system == chosen), self._units)

    def views(self, system: System) -> tuple[FurnaceView, ...]:
        now_ms = self._now()
        return tuple(furnace_view(now, now_ms, system) for now in self._live.furnaces())

    def view(self, furnace: str, system: System) -> FurnaceView | None:
        for now in self._live.furnaces():
            if now.furnace == furnace:
                return furnace_view(now, self._now(), system)
        return None

    def page(self, request: Request, template: str, status: int = 200, **context: Any) -> HTMLResponse:
        """A whole page for the browser of `request`."""
        token = form_token(request)
        now_ms = self._now()
        person = person_of(request)
        text = self._templates.get_template(template).render(
            context,
            path=request.url.path,
            system=self.system(request),
            token=token,
            by=person.name,
            person=person,
            nav=self._nav(person),
            now_ms=now_ms,
            ago=lambda t_ms: age((now_ms - t_ms) / 1000),
            clock=lambda t_ms: clock(t_ms, now_ms),
            troubles=self._troubles(person.by_link) if may(person, "see") else (),
        )
        response = HTMLResponse(text, status)
        keep_cookie(request, response, CSRF_COOKIE, token, "lax")
        return response

    def _nav(self, person: Person) -> list[tuple[str, str]]:
        if person.by_link:
            paths = {"/"} if person.furnace else SHARED_MENU
            return [(path, words) for path, words, _ in self.menu if path in paths]
        return [(path, words) for path, words, role in self.menu if at_least(person.role, role)]

    def _troubles(self, guest: bool) -> tuple[str, ...]:
        """What is wrong at the host; names of files and other furnaces are not for a guest."""
        troubles = self._live.troubles
        return (GUESTS_TROUBLE,) if troubles and guest else troubles

    def not_found(self, request: Request) -> HTMLResponse:
        text = "There is no such page or furnace."
        return self.page(request, "message.html", 404, title="Not here", message=text)

    def parts(self, system: System, furnace: str | None, guest: bool = False) -> Parts:
        """What live updates replace, by the name of the part. Without ages: those the page counts itself.

        guest: for somebody who came by a link
        """
        module: Any = self._templates.get_template("_furnace.html").module
        now_ms = self._now()
        furnaces = self._live.furnaces()
        views = tuple(furnace_view(now, now_ms, system) for now in furnaces)
        parts = {"troubles": str(module.troubles(self._troubles(guest)))}
        if furnace is None:
            parts["furnaces"] = " ".join(view.furnace for view in views)
            parts["summary"] = str(module.summary(summary(views)))
            parts["title"] = f"{summary(views).word} · sootline"
        for view in views:
            if furnace in (None, view.furnace):
                parts |= _furnace_parts(module, view, whole=furnace is not None)
                if furnace is not None:
                    parts["title"] = f"{view.name}: {view.verdict.word} · sootline"
        return parts


def _furnace_parts(module: Any, view: FurnaceView, whole: bool) -> Parts:
    parts = {
        f"head:{view.furnace}": str(module.head(view)),
        f"readings:{view.furnace}": str(module.readings(view)),
        f"alarms:{view.furnace}": str(module.alarms(view)),
        f"eyes:{view.furnace}": str(module.eyes(view)),
    }
    if whole:
        parts[f"all:{view.furnace}"] = str(module.all_readings(view))
        parts[f"board:{view.furnace}"] = str(module.board(view))
        parts[f"aside:{view.furnace}"] = str(module.set_aside(view))
    return parts
