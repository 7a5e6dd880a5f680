"""The pages. Each handler reads, makes views and fills one template."""

import json
from collections.abc import Callable
from pathlib import Path

from starlette.requests import Request
from starlette.responses import Response, StreamingResponse

from sootline.store import Store
from sootline.units import clock
from sootline.web.chart import MOST_COLUMNS, chart, table
from sootline.web.feed import Feed
from sootline.web.render import Renderer
from sootline.web.source import Live
from sootline.web.views import summary

HOUR_MS = 3_600_000
LONGEST_HOURS = 24 * 400.0


class Pages:
    def __init__(self, live: Live, store_folder: Path, renderer: Renderer, feed: Feed, now: Callable[[], int]) -> None:
        self._live = live
        self._store = Store.open(store_folder, read_only=True)
        self._renderer = renderer
        self._feed = feed
        self._now = now

    def close(self) -> None:
        self._store.close()

    def furnaces(self, request: Request) -> Response:
        """All furnaces at a glance."""
        views = self._renderer.views(self._renderer.system(request))
        aside = 0 if views else sum(self._store.set_aside_counts("").values())
        return self._renderer.page(request, "furnaces.html", views=views, all=summary(views), set_aside=aside)

    def furnace(self, request: Request) -> Response:
        """One furnace now, with its last 24 hours."""
        system = self._renderer.system(request)
        view = self._renderer.view(request.path_params["furnace"], system)
        if view is None:
            return self.not_found(request, None)
        now_ms = self._now()
        hours = 24
        end_ms = now_ms - now_ms % HOUR_MS + HOUR_MS
        rows = table(
            self._store.overview, view.furnace, end_ms - hours * HOUR_MS, end_ms, hours, system,
            lambda t_ms: clock(t_ms, now_ms),
        )  # fmt: skip
        return self._renderer.page(request, "furnace.html", view=view, hours=hours, zoom=False, spans=(), table=rows)

    def chart(self, request: Request) -> Response:
        """Chart data: `hours` up to `end` [s; now if not given] in at most `pixels` columns."""
        furnace = request.path_params["furnace"]
        query = request.query_params
        now_ms = self._now()
        hours = _number(query.get("hours"), 24.0, 1 / 60, LONGEST_HOURS)
        pixels = round(_number(query.get("pixels"), MOST_COLUMNS, 1, 10_000))
        end_ms = round(_number(query.get("end"), now_ms / 1000, 0, now_ms / 1000 + 86400) * 1000)
        data = chart(
            self._store.overview,
            furnace,
            round(end_ms - hours * HOUR_MS),
            end_ms,
            pixels,
            self._renderer.system(request),
        )
        return Response(json.dumps(data, separators=(",", ":")), media_type="application/json")

    async def live(self, request: Request) -> Response:
        """Server-sent events: what changes on the page of one furnace, or of all."""
        furnace = request.query_params.get("furnace")
        if furnace is not None and all(now.furnace != furnace for now in self._live.furnaces()):
            return self.not_found(request, None)
        return StreamingResponse(
            self._feed.messages(self._renderer.system(request), furnace),
            media_type="text/event-stream",
            headers={"Cache-Control": "no-store", "X-Accel-Buffering": "no"},
        )

    async def static(self, request: Request) -> Response:
        asset = self._renderer.assets.get(request.path_params["fingerprint"], request.path_params["name"])
        if asset is None:
            return self.not_found(request, None)
        return Response(
            asset.body,
            media_type=asset.content_type,
            headers={"Cache-Control": "public, max-age=31536000, immutable"},
        )

    def not_found(self, request: Request, _: Exception | None) -> Response:
        return self._renderer.page(
            request, "message.html", 404, title="Not here", message="There is no such page or furnace."
        )

    def unavailable(self, request: Request, error: Exception) -> Response:
        """Something that a person can put right, or a disk that refuses."""
        return self._renderer.page(request, "message.html", 503, title="Not now", message=str(error))


def _number(text: str | None, default: float, low: float, high: float) -> float:
    """A number of the query, kept within bounds; nonsense is the default."""
    try:
        value = float(text) if text is not None else default
    except ValueError:
        value = default
    return min(max(value, low), high) if value == value else default
