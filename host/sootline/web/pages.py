"""The pages. Each handler reads, makes views and fills one template."""

import json
import math
from collections.abc import Callable

from starlette.requests import Request
from starlette.responses import Response, StreamingResponse

from sootline.channels import CHANNELS
from sootline.store import Store
from sootline.units import clock
from sootline.web.chart import MOST_COLUMNS, chart, marks, table
from sootline.web.commission import Commission
from sootline.web.feed import Feed
from sootline.web.messages import SERVICE_HOURS
from sootline.web.people import person_of, while_allowed
from sootline.web.render import Renderer
from sootline.web.source import Live
from sootline.web.views import summary

HOUR_MS = 3_600_000
LONGEST_HOURS = 24 * 400.0
SPANS = (("24 h", 24), ("7 days", 168), ("30 days", 720))


class Pages:
    def __init__(
        self,
        live: Live,
        store: Store,
        renderer: Renderer,
        feed: Feed,
        commission: Commission,
        now: Callable[[], int],
    ) -> None:
        self._live = live
        self._store = store
        self._renderer = renderer
        self._feed = feed
        self._commission = commission
        self._now = now

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
            return self._renderer.not_found(request)
        now_ms = self._now()
        hours = 24
        end_ms = now_ms - now_ms % HOUR_MS + HOUR_MS
        rows = table(
            self._store.overview, view.furnace, end_ms - hours * HOUR_MS, end_ms, hours, system,
            lambda t_ms: clock(t_ms, now_ms),
        )  # fmt: skip
        return self._renderer.page(
            request, "furnace.html", view=view, hours=hours, zoom=False, spans=(), table=rows,
            due=self._commission.due(view.furnace), service_hours=SERVICE_HOURS,
        )  # fmt: skip

    def sensors(self, request: Request) -> Response:
        """What each sensor says and which alarm can see what."""
        view = self._renderer.view(request.path_params["furnace"], self._renderer.system(request))
        if view is None:
            return self._renderer.not_found(request)
        meanings = {name: channel.meaning for name, channel in CHANNELS.items()}
        missing = [name for name in CHANNELS if name not in {reading.channel for reading in view.all}]
        commissioned = [self._commission.progress(now) for now in self._live.furnaces() if now.furnace == view.furnace]
        return self._renderer.page(
            request, "sensors.html", view=view, meanings=meanings, missing=missing,
            commissioned="".join(commissioned), due=self._commission.due(view.furnace),
        )  # fmt: skip

    def season(self, request: Request) -> Response:
        """Everything stored of one furnace in one chart, to look into."""
        system = self._renderer.system(request)
        view = self._renderer.view(request.path_params["furnace"], system)
        if view is None:
            return self._renderer.not_found(request)
        now_ms = self._now()
        extent = self._store.extent(view.furnace)
        hours = 24 if extent is None else max(24, math.ceil((now_ms - extent[0]) / HOUR_MS))
        spans = [(label, span) for label, span in SPANS if span < hours]
        days = min(math.ceil(hours / 24), 60)
        start_ms = now_ms - hours * HOUR_MS
        rows = table(
            self._store.overview, view.furnace, start_ms, now_ms, days, system, lambda t_ms: clock(t_ms, now_ms)
        )
        spans.append(("All", hours))
        return self._renderer.page(
            request, "season.html", view=view, hours=hours, zoom=True, spans=spans, table=rows, start_ms=start_ms
        )

    def chart(self, request: Request) -> Response:
        """Chart data: `hours` up to `end` [s; now if not given] in at most `pixels` columns."""
        furnace = request.path_params["furnace"]
        query = request.query_params
        now_ms = self._now()
        hours = _number(query.get("hours"), 24.0, 1 / 60, LONGEST_HOURS)
        pixels = round(_number(query.get("pixels"), MOST_COLUMNS, 1, 10_000))
        end_ms = round(_number(query.get("end"), now_ms / 1000, 0, now_ms / 1000 + 86400) * 1000)
        start_ms = round(end_ms - hours * HOUR_MS)
        system = self._renderer.system(request)
        data = chart(self._store.overview, self._store.event_spans, furnace, start_ms, end_ms, pixels, system)
        data["marks"] = marks(self._store.alarms(furnace, start_ms), self._store.log(furnace), start_ms, end_ms)
        return Response(json.dumps(data, separators=(",", ":")), media_type="application/json")

    async def live(self, request: Request) -> Response:
        """Server-sent events: what changes on the page of one furnace, or of all."""
        furnace = request.query_params.get("furnace")
        if furnace is not None and all(now.furnace != furnace for now in self._live.furnaces()):
            return self._renderer.not_found(request)
        if request.method == "HEAD":  # a page asks whether it may listen
            return Response(media_type="text/event-stream")
        messages = self._feed.messages(self._renderer.system(request), furnace, person_of(request).by_link)
        return StreamingResponse(
            while_allowed(request, messages),
            media_type="text/event-stream",
            headers={"Cache-Control": "no-store", "X-Accel-Buffering": "no"},
        )

    async def static(self, request: Request) -> Response:
        asset = self._renderer.assets.get(request.path_params["fingerprint"], request.path_params["name"])
        if asset is None:
            return self._renderer.not_found(request)
        return Response(
            asset.body,
            media_type=asset.content_type,
            headers={"Cache-Control": "public, max-age=31536000, immutable"},
        )

    def keeper(self, request: Request) -> Response:
        """The service worker, which must lie at the root; with the addresses of what it keeps."""
        assets = self._renderer.assets
        files = [assets.url(name) for name in ("sootline.css", "live.js", "entry.js", "mark.svg")]
        script = assets.read("keeper.js")
        return Response(
            f"var FILES = {json.dumps(files)};\n{script}",
            media_type="text/javascript; charset=utf-8",
            headers={"Cache-Control": "no-cache"},
        )

    def not_found(self, request: Request, _: Exception) -> Response:
        return self._renderer.not_found(request)

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
