"""What has been: alarms and how they behave, refills, firings and warm-ups, messages set aside."""

import json
from collections.abc import Callable, Sequence

from starlette.requests import Request
from starlette.responses import Response

from sootline import units, wording
from sootline.alarms import Alarm
from sootline.events import Event
from sootline.store import Store
from sootline.web.alarm_views import alarm_views, is_standing
from sootline.web.event_views import KINDS, event_table
from sootline.web.figures import DAY_MS, figures
from sootline.web.overlay import overlay
from sootline.web.render import Renderer
from sootline.web.source import Live
from sootline.web.trend import trend

HISTORY_ROWS = 40
EVENT_DAYS = 14
TREND_DAYS = 400
SPANS = {"7": "7 days", "30": "30 days", "365": "a year"}


class Records:
    def __init__(self, live: Live, store: Store, renderer: Renderer, now: Callable[[], int]) -> None:
        self._live = live
        self._store = store
        self._renderer = renderer
        self._now = now

    def alarms(self, request: Request) -> Response:
        """Alarms that stand, lie on the shelf or are over; each with its evidence and what followed from it."""
        furnace = request.query_params.get("furnace") or None
        before_ms = _moment(request.query_params.get("before"))
        now_ms, system = self._now(), self._renderer.system(request)
        present = [a for now in self._live.furnaces() for a in now.alarms if furnace in (None, now.furnace)]
        shown = {alarm.key for alarm in present if alarm.state != "suppressed"}
        past = [alarm for alarm in self._store.alarms(furnace) if alarm.key not in shown]
        if before_ms is not None:
            past = [alarm for alarm in past if alarm.raised_ms < before_ms]
        page, more_ms = _newest_with_consequences(past, HISTORY_ROWS)
        views = alarm_views(present, now_ms, system)
        standing = {alarm.key for alarm in present if is_standing(alarm)}
        return self._renderer.page(
            request,
            "alarms.html",
            furnace=furnace,
            furnaces=self._furnaces(),
            heard=bool(self._live.furnaces()),
            standing=tuple(v for v in views if v.key in standing),
            shelved=tuple(v for v in views if v.state_id == "shelved"),
            over=tuple(v for v in views if v.key not in standing and v.state_id not in ("shelved", "suppressed")),
            past=sorted(alarm_views(page, now_ms, system), key=lambda view: -view.raised_ms),
            before=before_ms,
            more_ms=more_ms,
        )

    def figures(self, request: Request) -> Response:
        """How well the alarms behave."""
        days = request.query_params.get("days", "30")
        days = days if days in SPANS else "30"
        now_ms = self._now()
        start_ms = now_ms - int(days) * DAY_MS
        first = [extent[0] for name in self._store.furnaces() if (extent := self._store.extent(name))]
        start_ms = max(start_ms, min(first, default=now_ms - DAY_MS))
        made = figures(self._store.alarms(since_ms=start_ms), min(start_ms, now_ms - DAY_MS), now_ms)
        return self._renderer.page(request, "figures.html", figures=made, days=days, spans=SPANS, start_ms=start_ms)

    def events(self, request: Request) -> Response:
        """Finished firings, refills or warm-ups of one furnace."""
        system = self._renderer.system(request)
        view = self._renderer.view(request.path_params["furnace"], system)
        what = request.path_params["what"]
        if view is None or what not in KINDS:
            return self._renderer.not_found(request)
        now_ms = self._now()
        events = self._store.events(view.furnace, KINDS[what], now_ms - EVENT_DAYS * DAY_MS)
        table = event_table(KINDS[what], events, now_ms, system)
        choice: tuple[int, ...] = ()
        older: list[Event] = []
        if what == "firings":
            older = self._asked(view.furnace, request, {event.start_ms for event in events})
            choice = tuple(event.start_ms for event in _two([*older, *events], request))
        return self._renderer.page(
            request, "events.html", view=view, table=table, days=EVENT_DAYS, choice=choice, what=what,
            older=[(event.start_ms, units.day(event.start_ms), units.duration(event.duration_s)) for event in older],
        )  # fmt: skip

    def _asked(self, furnace: str, request: Request, listed: set[int]) -> list[Event]:
        """Firings asked for that are too old to be listed, in order."""
        moments = {_moment(request.query_params.get(name)) for name in ("one", "other")} - {None} - listed
        return [
            event for t_ms in sorted(m for m in moments if m is not None)
            for event in self._store.events(furnace, "firing", t_ms, t_ms + 1)
        ]  # fmt: skip

    def trend(self, request: Request) -> Response:
        """Firings, refills or warm-ups from day to day."""
        furnace, what = request.path_params["furnace"], request.query_params.get("what", "")
        if what not in KINDS:
            return self._renderer.not_found(request)
        events = self._store.events(furnace, KINDS[what], self._now() - TREND_DAYS * DAY_MS)
        data = trend(KINDS[what], events, self._store.log(furnace), self._renderer.system(request))
        return _json(data)

    def overlay(self, request: Request) -> Response:
        """Two firings one over another: `one` and `other` are the moments they began [ms]."""
        furnace = request.path_params["furnace"]
        firings = _two(self._store.events(furnace, "firing"), request)
        if not firings:
            return self._renderer.not_found(request)
        data = overlay(self._store.overview, firings, self._now(), self._renderer.system(request))
        return _json(data)

    def set_aside(self, request: Request) -> Response:
        """Messages that could not be used, and why."""
        names = sorted({*self._store.furnaces(), *(now.furnace for now in self._live.furnaces()), ""})
        counts = {name: counted for name in names if (counted := self._store.set_aside_counts(name))}
        return self._renderer.page(request, "set-aside.html", counts=counts, last=self._store.last_set_aside(50))

    def _furnaces(self) -> dict[str, str]:
        names = sorted({*self._store.furnaces(), *(now.furnace for now in self._live.furnaces())})
        return {name: wording.furnace_name(name) for name in names}


def _json(data: object) -> Response:
    return Response(json.dumps(data, separators=(",", ":")), media_type="application/json")


def _two(firings: Sequence[Event], request: Request) -> tuple[Event, ...]:
    """The firings asked for, else the newest and the one before it."""
    by_start = {event.start_ms: event for event in firings}
    wanted = [by_start.get(_moment(request.query_params.get(name)) or 0) for name in ("one", "other")]
    default = [*reversed(firings[-2:])]
    if len(default) < 2:
        return ()
    return tuple(found or standard for found, standard in zip(wanted, default, strict=True))


def _moment(text: str | None) -> int | None:
    return int(text) if text and text.isdigit() and len(text) < 15 else None


def _newest_with_consequences(alarms: list[Alarm], most: int) -> tuple[list[Alarm], int | None]:
    """The newest alarms that are nobody's consequence, with their consequences; and where the next page begins."""
    causes = [alarm for alarm in alarms if alarm.state != "suppressed"][-most:]
    if not causes:
        return alarms[-most:], None
    first_ms = causes[0].raised_ms
    page = [alarm for alarm in alarms if alarm.raised_ms >= first_ms]
    return page, first_ms if len(page) < len(alarms) else None
