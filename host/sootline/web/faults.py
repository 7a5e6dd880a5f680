"""Guided fault finding on the page: a symptom or an alarm, then step by step to a cause or to somebody licensed."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from sootline import units, wording
from sootline.alarms import Alarm
from sootline.analysis.catalogue import KINDS
from sootline.analysis.causes import search as guide
from sootline.analysis.causes import trees_fire, trees_heat, trees_oil, trees_sensor, trees_stack
from sootline.analysis.causes.search import End, Step
from sootline.analysis.causes.trees import TREES
from sootline.errors import UserError
from sootline.logbook import ID, Answer, Search
from sootline.store import Store
from sootline.web.entry_form import new_id
from sootline.web.forms import FormError, name_of, read_form, remember
from sootline.web.people import person_of
from sootline.web.render import Renderer
from sootline.web.source import Live
from sootline.web.symptoms import SYMPTOMS

BRANCHES = tuple(
    (name, tuple(tree.alarm for tree in trees.TREES))
    for name, trees in (
        ("Oil supply", trees_oil), ("Warm oil", trees_heat), ("Fire and heat", trees_fire),
        ("Stack and air", trees_stack), ("Sensors", trees_sensor),
    )
)  # fmt: skip
LIKELIEST = 3


@dataclass(frozen=True, slots=True)
class AnswerView:
    asked: str
    answer: str


@dataclass(frozen=True, slots=True)
class SearchView:
    """A search as the log and its own page show it. result: how it ended, or that it goes on."""

    id: str
    furnace: str
    name: str
    at_ms: int
    when: str
    title: str
    by: str
    steps: tuple[AnswerView, ...]
    result: str
    url: str


def search_view(search: Search, now_ms: int) -> SearchView:
    return SearchView(
        id=search.id,
        furnace=search.furnace,
        name=wording.furnace_name(search.furnace),
        at_ms=search.begun_ms,
        when=units.clock(search.begun_ms, now_ms),
        title=wording.alarm_title(search.alarm).capitalize(),
        by=search.by,
        steps=tuple(AnswerView(answer.asked, answer.said) for answer in search.answers),
        result=_result(search),
        url=f"/furnace/{search.furnace}/fault/{search.id}",
    )


def _result(search: Search) -> str:
    if search.found is not None:
        return f"Found: {search.found}."
    if search.ended is None:
        return "Not finished."
    return (
        "Nothing found by looking: call somebody licensed." if search.ended == "nothing" else "Stopped: call somebody."
    )


class Faults:
    def __init__(self, live: Live, store: Store, renderer: Renderer, now: Callable[[], int]) -> None:
        self._live = live
        self._store = store
        self._renderer = renderer
        self._now = now

    def begin(self, request: Request) -> Response:
        """The symptoms to choose from; with `symptom`, what to do at once; with `alarm`, its first step."""
        view = self._renderer.view(request.path_params["furnace"], self._renderer.system(request))
        if view is None:
            return self._renderer.not_found(request)
        if "alarm" in request.query_params:
            search = self._new(request, request.query_params.get("alarm", ""), request.query_params)
            return self._renderer.not_found(request) if search is None else self._show(request, search)
        standing = [alarm for alarm in view.alarms if alarm.standing and alarm.guide]
        if "symptom" in request.query_params:
            symptom = SYMPTOMS.get(request.query_params["symptom"])
            if symptom is None:
                return self._renderer.not_found(request)
            return self._renderer.page(
                request, "symptom.html",
                view=view, symptom=symptom, hazard=wording.HAZARDS[symptom.hazard], standing=standing,
            )  # fmt: skip
        branches = [
            (name, [(alarm, wording.alarm_title(alarm).capitalize()) for alarm in alarms]) for name, alarms in BRANCHES
        ]
        going = [search_view(s, self._now()) for s in self._store.searches(view.furnace) if s.ended is None]
        return self._renderer.page(
            request, "faults.html",
            view=view, symptoms=SYMPTOMS.values(), branches=branches, standing=standing, going=going[::-1][:5],
        )  # fmt: skip

    def page(self, request: Request) -> Response:
        """Where a search has come to."""
        search = self._store.search(request.path_params["search"])
        if search is None or search.furnace != request.path_params["furnace"]:
            return self._renderer.not_found(request)
        return self._show(request, search)

    async def answer(self, request: Request) -> Response:
        """An answer to the present step; the first one begins the search."""
        try:
            form = await read_form(request)
            by = name_of(request, form)
            id = form.get("search", "")
            search = await run_in_threadpool(self._store.search, id) if ID.fullmatch(id) else None
            if search is None and ID.fullmatch(id):
                search = await run_in_threadpool(self._new, request, form.get("alarm", ""), form, id, by)
            if search is None or search.furnace != request.path_params["furnace"]:
                raise FormError("The form does not name a fault. Go back and try again.")
            told = Answer(form.get("step", ""), form.get("answer", ""), by, self._now())
            await run_in_threadpool(self._live.tell, search, told)  # refused: somebody was faster; show where it is now
        except (FormError, UserError) as error:
            return self._renderer.page(request, "message.html", 400, title="Not done", message=str(error))
        where = RedirectResponse(f"/furnace/{quote(search.furnace)}/fault/{quote(search.id)}", 303)
        return where if person_of(request).known else remember(request, where, by)

    def _new(
        self, request: Request, alarm: str, named: Mapping[str, str], id: str | None = None, by: str = ""
    ) -> Search | None:
        """A search that has not begun yet; `named` holds raised and channel of an alarm, where it is for one."""
        furnace = request.path_params["furnace"]
        if alarm not in TREES or all(now.furnace != furnace for now in self._live.furnaces()):
            return None
        get = named.get
        raised, channel = str(get("raised") or ""), str(get("channel") or "") or None
        raised_ms = int(raised) if raised.isdecimal() and len(raised) < 15 else None
        found = None if raised_ms is None else self._alarm(furnace, alarm, channel, raised_ms)
        start = guide.beginning(alarm, found.detail.get("causes") if found else None)
        begun = found.raised_ms if found else None
        return Search(id or new_id(), furnace, alarm, channel if found else None, begun, self._now(), by, start)

    def _alarm(self, furnace: str, alarm: str, channel: str | None, raised_ms: int) -> Alarm | None:
        key = (furnace, alarm, channel, raised_ms)
        present = [a for now in self._live.furnaces() if now.furnace == furnace for a in now.alarms if a.key == key]
        return present[0] if present else next((a for a in self._store.alarms(furnace) if a.key == key), None)

    def _show(self, request: Request, search: Search) -> Response:
        here = guide.where(search)
        alarm = None
        if search.raised_ms is not None:
            alarm = self._alarm(search.furnace, search.alarm, search.channel, search.raised_ms)
        given = [(answer.step, answer.answer) for answer in search.answers]
        causes = {cause.id: cause.cause for cause in TREES[search.alarm].causes} | {"other": "something else"}
        ranked = sorted(guide.ranking(search.alarm, search.start, given).items(), key=lambda item: -item[1])
        return self._renderer.page(
            request, "fault.html",
            view=self._renderer.view(search.furnace, self._renderer.system(request)),
            search=search_view(search, self._now()),
            alarm=search.alarm,
            raised=search.raised_ms,
            channel=search.channel or "",
            here=here,
            ended=isinstance(here, End),
            key="end" if isinstance(here, End) else here.key,
            cautions=_cautions(search.alarm, here, alarm),
            likely=[(causes[name], f"{p:.0%}") for name, p in ranked[:LIKELIEST]],
            begun=bool(search.answers),
        )  # fmt: skip


def _cautions(alarm: str, here: Step | End, raised: Alarm | None) -> list[str]:
    """What must be known before hands move."""
    lines = []
    if alarm in guide.CHAMBER:
        resets = raised.detail.get("resets_24h") if raised else None
        pressed = f" {guide.PRESSED}" if isinstance(resets, int) and resets > 0 else ""
        lines.append(guide.RESET + pressed)
    hazard = KINDS[alarm].hazard
    if hazard != "none":
        lines.append(wording.HAZARDS[hazard])
    inside = isinstance(here, Step) and (here.kind == "off" or (here.cause is not None and here.cause.power_off))
    if inside or (isinstance(here, End) and here.cause is not None and here.cause.power_off):
        lines.append(wording.HAZARDS["mains"])
    return lines
