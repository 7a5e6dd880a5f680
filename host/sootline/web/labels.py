"""Labels to print for furnace, filter and barrel: each opens the log form with the furnace and the thing chosen."""

import ipaddress
import re
from collections.abc import Iterable
from dataclasses import dataclass
from urllib.parse import urlencode, urlsplit

import segno
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from sootline import wording
from sootline.store import Store
from sootline.web.render import Renderer
from sootline.web.source import Live

MOST_BARRELS = 12
_ADDRESS = re.compile(r"https?://(\[[0-9a-f:]+\]|[A-Za-z0-9.-]+)(:\d{1,5})?")


@dataclass(frozen=True, slots=True)
class Label:
    """title and says: to read; url: what the code holds; code: the drawing, four modules of white around it."""

    title: str
    says: str
    url: str
    code: Markup


class Labels:
    def __init__(self, live: Live, store: Store, renderer: Renderer) -> None:
        self._live = live
        self._store = store
        self._renderer = renderer

    def page(self, request: Request) -> Response:
        """A sheet for the furnaces ticked (all if none), with so many barrels, at the address phones reach."""
        query = request.query_params
        there = sorted({*self._store.furnaces(), *(now.furnace for now in self._live.furnaces())})
        ticked = [name for name in query.getlist("furnace") if name in there]
        base = query.get("base", "").strip().rstrip("/") or str(request.base_url).rstrip("/")
        wrong = "" if _ADDRESS.fullmatch(base) else "Give an address such as http://192.168.1.20:8470."
        if wrong:
            base = str(request.base_url).rstrip("/")
        barrels = min(int(query["barrels"]), MOST_BARRELS) if query.get("barrels", "").isdecimal() else 2
        return self._renderer.page(
            request, "labels.html",
            furnaces={name: wording.furnace_name(name) for name in there},
            ticked=ticked or there,
            barrels=barrels,
            base=base,
            wrong=wrong,
            only_here=only_here(base),
            labels=list(labels(base, ticked or there, barrels)),
        )  # fmt: skip


def labels(base: str, furnaces: Iterable[str], barrels: int) -> Iterable[Label]:
    """Furnace by furnace: the furnace itself, its refill filter, and its barrels."""
    for furnace in furnaces:
        name = wording.furnace_name(furnace)
        yield _label(base, name, "note what was done", furnace=furnace)
        yield _label(base, f"{name}: filter", "oil filter changed", furnace=furnace, kind="filter")
        for i in range(1, barrels + 1):
            yield _label(base, f"{name}: barrel {i}", "now burning from it", furnace=furnace, kind="batch",
                         thing=f"Barrel {i}")  # fmt: skip


def _label(base: str, title: str, says: str, **query: str) -> Label:
    url = f"{base}/log?{urlencode(query)}"
    code = segno.make_qr(url, error="q").svg_inline(
        border=4, light="#fff", omitsize=True, svgclass="code", lineclass=""
    )
    return Label(title, says, url, Markup(code))


def only_here(base: str) -> bool:
    host = urlsplit(base).hostname or ""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost" or host.endswith(".localhost")
