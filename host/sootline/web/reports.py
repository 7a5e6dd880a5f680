"""Reports to read, print or keep, and everything that is stored as tables to take away."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from starlette.requests import Request
from starlette.responses import HTMLResponse, Response, StreamingResponse

from sootline.advice.burned import profile_of
from sootline.advice.tables import TABLES, Ask
from sootline.errors import OutOfRange, UserError
from sootline.papers.making import KINDS, TITLES, make
from sootline.papers.render import Paper, Press
from sootline.profile import Profile
from sootline.store import Store
from sootline.store.exporting import SUFFIXES, stream
from sootline.web.render import Renderer

TABLE_WORDS = {
    "readings": "Every reading as the board sent it",
    "events": "Firings, refills, warm-ups and steady stacks",
    "alarms": "Alarms with their numbers and who had them",
    "log": "What was done",
    "searches": "Causes that were looked for, with every answer",
    "messages": "What was said to whom, and whether it came",
    "oil": "Batches of used oil with their tests",
    "predictions": "What cleanings should bring, and brought",
    "commissioning": "Commissioning steps with their values",
}
_TYPES = {".csv": "text/csv; charset=utf-8", ".parquet": "application/vnd.apache.parquet"}


class Reports:
    def __init__(self, store: Store, renderer: Renderer, profile_folder: Path, now: Callable[[], int]) -> None:
        self._store = store
        self._renderer = renderer
        self._profile_folder = profile_folder
        self._now = now
        self._press = Press()

    def page(self, request: Request) -> Response:
        """What can be read, printed and taken away of a furnace."""
        view = self._renderer.view(request.path_params["furnace"], self._renderer.system(request))
        if view is None:
            return self._renderer.not_found(request)
        extent = self._store.extent(view.furnace)
        return self._renderer.page(
            request, "reports.html", view=view, kinds=TITLES, tables=TABLE_WORDS,
            first=_day(extent[0]) if extent else "", last=_day(self._now()) if extent else "",
        )  # fmt: skip

    def report(self, request: Request) -> Response:
        """One report: `season.html`, `season.pdf`, and so on; `from` and `to` as days."""
        furnace, name = request.path_params["furnace"], request.path_params["name"]
        kind, _, suffix = name.partition(".")
        known = next((one for one in KINDS if one == kind), None)
        profile = self._profile(furnace)
        if known is None or suffix not in ("html", "pdf") or profile is None:
            return self._renderer.not_found(request)
        query = request.query_params
        try:
            span = _moment(query.get("from")), _moment(query.get("to"))
            paper = make(known, self._store, profile, self._renderer.system(request), *span)
            if suffix == "pdf":
                return self._pdf(paper, furnace)
        except (UserError, OutOfRange) as error:
            return self._renderer.page(request, "message.html", 400, title="Not done", message=str(error))
        tail = f"?{request.url.query}" if request.url.query else ""
        if query.get("keep") == "1":
            return _kept(self._press.html(paper).encode(), f"{kind}-{furnace}-{paper.digests.end}.html", "text/html")
        links = (
            (f"/furnace/{furnace}/reports", "Back"),
            (f"/furnace/{furnace}/reports/{kind}.pdf{tail}", "As PDF"),
            (f"{request.url.path}?keep=1&{request.url.query}".rstrip("&"), "Keep this HTML"),
        )
        url = self._renderer.assets.url
        return HTMLResponse(self._press.html(paper, url("paper.css"), url("mark.svg"), links))

    def _pdf(self, paper: Paper, furnace: str) -> Response:
        return _kept(self._press.pdf(paper), f"{paper.kind}-{furnace}-{paper.digests.end}.pdf", "application/pdf")

    def table(self, request: Request) -> Response:
        """A table of what is stored, as it is read: `readings.csv`, `alarms.parquet`, and so on."""
        furnace = request.path_params["furnace"]
        path = Path(request.path_params["name"])
        if path.stem not in TABLES or path.suffix not in SUFFIXES or furnace not in self._store.furnaces():
            return self._renderer.not_found(request)
        try:
            start_ms, end_ms = (_moment(request.query_params.get(name)) for name in ("from", "to"))
            ask = Ask(self._store, [furnace], start_ms or 0, 2**62 if end_ms is None else end_ms)
            table = TABLES[path.stem](ask)
        except UserError as error:
            return self._renderer.page(request, "message.html", 400, title="Not done", message=str(error))
        return StreamingResponse(
            stream(table, path.suffix),
            media_type=_TYPES[path.suffix],
            headers={"Content-Disposition": f'attachment; filename="{furnace}-{path.name}"'},
        )

    def _profile(self, furnace: str) -> Profile | None:
        if furnace not in self._store.furnaces():
            return None
        return profile_of(self._store, furnace, self._profile_folder)


def _kept(data: bytes, name: str, kind: str) -> Response:
    return Response(data, media_type=kind, headers={"Content-Disposition": f'attachment; filename="{name}"'})


def _moment(text: str | None) -> int | None:
    if not text:
        return None
    try:
        return round(datetime.fromisoformat(text[:10]).replace(tzinfo=UTC).timestamp() * 1000)
    except ValueError:
        raise UserError(f"'{text}' is no day; write it like 2026-01-31") from None


def _day(t_ms: int) -> str:
    return datetime.fromtimestamp(t_ms / 1000, UTC).date().isoformat()
