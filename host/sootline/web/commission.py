"""Commissioning on the page: the steps, one form at a time, readings taken live, and the sheet to print."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from sootline import walkthrough as walk
from sootline.commissioning.record import Record
from sootline.commissioning.steps import STEPS, Field
from sootline.errors import UserError
from sootline.files.commissioning import Records, add
from sootline.now import FurnaceNow, Reading
from sootline.units import System, age
from sootline.walkthrough import Item
from sootline.web.forms import FormError, given_name, name_of, read_form, remember
from sootline.web.render import Renderer
from sootline.web.source import Live


@dataclass(frozen=True, slots=True)
class FieldView:
    """One value to give. now: the channel's reading this moment with its age, or why it cannot be taken."""

    name: str
    kind: str
    ask: str
    unit: str
    choices: tuple[str, ...]
    text: str
    live: bool
    now: str
    may_take: bool


@dataclass(frozen=True, slots=True)
class NotedView:
    """One line of the sheet: what was noted, or room to write it."""

    ask: str
    value: str
    unit: str


@dataclass(frozen=True, slots=True)
class SheetView:
    """One item on the sheet."""

    item: Item
    noted: tuple[NotedView, ...]
    results: tuple[str, ...]


class Commission:
    """Reads and adds to the records in `folder`; the service sees the changed file by itself."""

    def __init__(self, live: Live, renderer: Renderer, folder: Path, now: Callable[[], int]) -> None:
        self._live = live
        self._renderer = renderer
        self._folder = folder
        self._records = Records(folder)
        self._now = now

    def page(self, request: Request) -> Response:
        """How far it is, and the form of one step: the one asked for, else the next."""
        furnace = self._furnace(request)
        if furnace is None:
            return self._renderer.not_found(request)
        query = request.query_params
        try:
            items = self._items(furnace)
            item = walk.find(items, query["step"])[0] if "step" in query else walk.first_open(items)
            saved = walk.find(items, query["saved"])[0] if "saved" in query else None
        except UserError:
            return self._renderer.not_found(request)
        return self._show(request, furnace, item, {}, saved=saved)

    async def send(self, request: Request) -> Response:
        """Take a reading into the form, or evaluate the step and keep it."""
        furnace = await run_in_threadpool(self._furnace, request)
        if furnace is None:
            return self._renderer.not_found(request)
        try:
            form = await read_form(request)
            return await run_in_threadpool(self._send, request, furnace, form)
        except (FormError, UserError) as error:
            return self._renderer.page(request, "message.html", 400, title="Not done", message=str(error))

    def sheet(self, request: Request) -> Response:
        """All steps with what was noted, to print."""
        furnace = self._furnace(request)
        if furnace is None:
            return self._renderer.not_found(request)
        system = self._renderer.system(request)
        views = [_sheet(item, system) for item in self._items(furnace)]
        steps = [(number, step, [view for view in views if view.item.step is step]) for number, step in _NUMBERED]
        return self._renderer.page(
            request, "commission-sheet.html", view=self._renderer.view(furnace.furnace, system), caution=walk.caution,
            steps=[step for step in steps if step[2]], today=self._today(), supervision=walk.SUPERVISION,
        )  # fmt: skip

    def due(self, furnace: str) -> list[str]:
        """The yearly repeats that are due at a furnace."""
        record = self._records.get(furnace)
        return walk.due_lines(record, self._today()) if record else []

    def progress(self, furnace: FurnaceNow) -> str:
        """How far commissioning is, in one line."""
        items = self._items(furnace)
        done = sum(item.state == "done" for item in items)
        if problem := self._records.problems.get(furnace.furnace):
            return problem
        return f"{done} of {len(items)} steps done." if any(item.entry for item in items) else "Not started."

    def _today(self) -> date:
        return date.fromtimestamp(self._now() / 1000)

    def _furnace(self, request: Request) -> FurnaceNow | None:
        name = request.path_params["furnace"]
        return next((now for now in self._live.furnaces() if now.furnace == name), None)

    def _record(self, furnace: FurnaceNow) -> Record:
        return self._records.get(furnace.furnace) or Record(furnace.furnace)

    def _items(self, furnace: FurnaceNow) -> tuple[Item, ...]:
        return walk.items(self._record(furnace), furnace.readings.keys(), self._today())

    def _send(self, request: Request, furnace: FurnaceNow, form: dict[str, str]) -> Response:
        system = self._renderer.system(request)
        item = walk.find(self._items(furnace), form.get("step", ""))[0]
        try:
            if "take" in form:
                name = next((f.name for f in item.step.fields if f.live and f.name == form["take"]), None)
                if name is None:
                    raise FormError("The form does not name a reading. Go back and try again.")
                value = walk.taken(furnace.readings.get(item.channel), item.channel, self._now())
                return self._show(request, furnace, item, {**form, name: walk.shown(value, "°C", system).text})
            values = {field.name: walk.parse(field, form.get(field.name, ""), system) for field in item.step.fields}
            by = given_name(form) if item.step.qualified else name_of(request, form)
            add(self._folder, furnace.furnace, item.step.key, self._today(), by, values, item.channel)
        except (FormError, UserError) as error:
            return self._show(request, furnace, item, form, refused=str(error), status=422)
        response = RedirectResponse(f"/furnace/{furnace.furnace}/commission?saved={quote(item.key)}", 303)
        return response if item.step.qualified else remember(request, response, by)

    def _show(
        self,
        request: Request,
        furnace: FurnaceNow,
        item: Item | None,
        form: Mapping[str, str],
        *,
        saved: Item | None = None,
        refused: str = "",
        status: int = 200,
    ) -> Response:
        system = self._renderer.system(request)
        record = self._record(furnace)
        entry = saved.entry if saved else None
        reading = furnace.readings.get(item.channel) if item else None
        return self._renderer.page(
            request, "commission.html", status,
            view=self._renderer.view(furnace.furnace, system),
            items=self._items(furnace),
            item=item,
            fields=[_field(f, item.channel, reading, form, self._now(), system) for f in item.step.fields]
            if item else [],
            given_by=form.get("by"),
            saved=saved,
            results=walk.result_words(entry.result, system) if entry else [],
            refused=refused or self._records.problems.get(furnace.furnace, ""),
            caution=walk.caution(item.step) if item else "",
            waiting=walk.waiting_lines(record, furnace.readings.keys()) if record.entries else [],
            started=bool(record.entries),
            due=walk.due_lines(record, self._today()),
            supervision=walk.SUPERVISION,
        )  # fmt: skip


_NUMBERED = tuple(enumerate(STEPS, start=1))


def _field(
    field: Field, channel: str, reading: Reading | None, form: Mapping[str, str], now_ms: int, system: System
) -> FieldView:
    now, may_take = "", False
    if field.live:
        try:
            value = walk.taken(reading, channel, now_ms)
            assert reading is not None
            now, may_take = f"{walk.shown(value, field.unit, system)}, {age((now_ms - reading.t_ms) / 1000)}", True
        except UserError as error:
            now = str(error)
    return FieldView(
        field.name, field.kind, field.ask[0].upper() + field.ask[1:], walk.unit_label(field.unit, system),
        field.choices, form.get(field.name, ""), field.live, now, may_take,
    )  # fmt: skip


def _sheet(item: Item, system: System) -> SheetView:
    entry = item.entry
    noted = tuple(
        NotedView(field.ask, "" if entry is None else walk.value_words(field, entry.values[field.name], system),
                  ", ".join(field.choices) or walk.unit_label(field.unit, system))
        for field in item.step.fields
    )  # fmt: skip
    return SheetView(item, noted, () if entry is None else tuple(walk.result_words(entry.result, system)))
