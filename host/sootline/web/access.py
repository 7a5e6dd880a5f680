"""Which role each address needs. An address that does not stand here cannot be served."""

from collections.abc import Iterable
from urllib.parse import quote

from starlette.datastructures import Headers
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp, Receive, Scope, Send

from sootline.people.person import Person, Role, at_least
from sootline.web.people import person_of
from sootline.web.render import Renderer

NEEDS: dict[str, Role] = {
    "GET /": "viewer",
    "GET /furnace/{furnace}": "viewer",
    "GET /furnace/{furnace}/sensors": "viewer",
    "GET /furnace/{furnace}/season": "viewer",
    "GET /furnace/{furnace}/next": "viewer",
    "GET /furnace/{furnace}/cleaning": "viewer",
    "POST /furnace/{furnace}/cleaning": "helper",
    "GET /furnace/{furnace}/reports": "viewer",
    "GET /furnace/{furnace}/reports/{name}": "viewer",
    "GET /furnace/{furnace}/tables/{name}": "viewer",
    "GET /furnace/{furnace}/oil": "viewer",
    "POST /furnace/{furnace}/oil": "helper",
    "GET /furnace/{furnace}/commission": "helper",
    "POST /furnace/{furnace}/commission": "helper",
    "GET /furnace/{furnace}/commission/sheet": "viewer",
    "POST /furnace/{furnace}/service": "helper",
    "GET /furnace/{furnace}/chart.json": "viewer",
    "GET /furnace/{furnace}/overlay.json": "viewer",
    "GET /furnace/{furnace}/trend.json": "viewer",
    "GET /furnace/{furnace}/fault": "viewer",
    "POST /furnace/{furnace}/fault": "helper",
    "GET /furnace/{furnace}/fault/{search}": "viewer",
    "GET /furnace/{furnace}/{what}": "viewer",
    "GET /alarms": "viewer",
    "GET /alarms/figures": "viewer",
    "GET /log": "viewer",
    "GET /log/away": "viewer",
    "GET /log/token": "helper",
    "GET /log/photo/{id}": "viewer",
    "GET /set-aside": "viewer",
    "GET /messages": "viewer",
    "POST /messages/confirm": "helper",
    "POST /messages/test": "helper",
    "GET /live": "viewer",
    "GET /labels": "viewer",
    "GET /keeper.js": "nobody",
    "GET /static/{fingerprint}/{name}": "nobody",
    "POST /acknowledge": "helper",
    "POST /shelve": "helper",
    "POST /log": "helper",
    "POST /log/undo": "helper",
    "GET /furnace/{furnace}/profile": "viewer",
    "POST /furnace/{furnace}/profile": "owner",
    "GET /settings": "viewer",
    "GET /settings/analysis": "viewer",
    "POST /people": "owner",
    "POST /people/remove": "owner",
    "POST /people/password": "owner",
    "POST /links": "owner",
    "POST /links/take-back": "owner",
    "POST /password": "viewer",
    "POST /units": "nobody",
    "GET /sign-in": "nobody",
    "POST /sign-in": "nobody",
    "POST /sign-out": "nobody",
    "GET /shared/{token}": "nobody",
}
"""Method and path as in the route: the least role."""

SHARED = {"/", "/alarms", "/alarms/figures", "/log", "/live"}
"""What a link shows besides the addresses of a furnace, which begin with /furnace/{furnace}."""
_OF_A_FURNACE = "/furnace/{furnace}"

MENU = (
    ("/", "Furnaces"),
    ("/alarms", "Alarms"),
    ("/log", "Log"),
    ("/messages", "Messages"),
    ("/settings", "Settings"),
)
"""The menu of every page: of these, what is served and whoever looks may see."""


def guarded(routes: Iterable[Route], renderer: Renderer) -> list[Route]:
    """The same routes, each behind the role it needs. Raises LookupError for one that does not stand in NEEDS."""
    made = []
    for route in routes:
        needs: dict[str, Role] = {}
        for method in route.methods or ():
            entry = f"{'GET' if method == 'HEAD' else method} {route.path}"
            if entry not in NEEDS:
                raise LookupError(f"'{entry}' has no line in NEEDS of web/access.py; say which role it needs")
            needs[method] = NEEDS[entry]
        shared = route.path in SHARED or route.path.startswith(_OF_A_FURNACE)
        gate = Middleware(Gate, needs=needs, shared=shared, renderer=renderer)
        made.append(Route(route.path, route.endpoint, methods=list(needs), middleware=[gate]))
    return made


class Gate:
    """Lets through who may; asks the others to sign in, or tells them that they may not."""

    def __init__(self, app: ASGIApp, needs: dict[str, Role], shared: bool, renderer: Renderer) -> None:
        self._app = app
        self._needs = needs
        self._shared = shared
        self._renderer = renderer

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        request = Request(scope)
        person = person_of(request)
        need = self._needs.get(request.method, "nobody")  # another method than these: the route itself answers 405
        if need == "nobody" or (at_least(person.role, need) and (not person.by_link or self._by_link(person, request))):
            await self._app(scope, receive, send)
        elif person.furnace is not None and request.url.path == "/":
            await RedirectResponse(f"/furnace/{person.furnace}", 303)(scope, receive, send)
        else:
            await refusal(person, request, self._renderer)(scope, receive, send)

    def _by_link(self, person: Person, request: Request) -> bool:
        """Whether a link opens the address: one that may be shared, and of its furnace where it is for one only."""
        if person.furnace is None:
            return self._shared
        asked = request.path_params.get("furnace") or (
            request.query_params.get("furnace") if request.url.path == "/live" else None
        )
        return self._shared and asked == person.furnace


def menu(routes: Iterable[Route]) -> tuple[tuple[str, str, Role], ...]:
    """Address, words and role of the pages of MENU that are served."""
    served = {route.path for route in routes if "GET" in (route.methods or ())}
    return tuple((path, words, NEEDS[f"GET {path}"]) for path, words in MENU if path in served)


def refusal(person: Person, request: Request, renderer: Renderer) -> Response:
    """To the sign-in page for a browser that wants a page; else 401 for nobody, 403 for somebody."""
    if person.role != "nobody":
        text = "This link does not show that." if person.by_link else f"A {person.role} may not do that. Ask the owner."
        return renderer.page(request, "message.html", 403, title="Not allowed", message=text)
    if request.method == "GET" and "text/html" in Headers(scope=request.scope).get("accept", ""):
        return RedirectResponse(f"/sign-in?back={quote(request.url.path)}", 303)
    text = "Sign in first, then try again. Nothing was changed."
    response = renderer.page(request, "message.html", 401, title="Sign in", message=text)
    response.headers["WWW-Authenticate"] = 'Cookie realm="sootline"'
    return response
