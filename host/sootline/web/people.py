"""Who sends a request, told to every handler: `person_of(request)`, and `may(person, act)`."""

from collections.abc import AsyncGenerator, AsyncIterator, Callable
from contextlib import aclosing
from urllib.parse import unquote

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Receive, Scope, Send

from sootline.errors import StoreUnavailable
from sootline.people.people import NAME_LIMIT, People
from sootline.people.person import NOBODY, Person, may

__all__ = ["NAME_COOKIE", "NAME_LIMIT", "Person", "Visitors", "may", "person_of"]

NAME_COOKIE = "sootline_name"
SESSION_COOKIE = "sootline_session"
LINK_COOKIE = "sootline_link"
RECHECK_MS = 5_000
_PERSON = "sootline.person"
_AGAIN = "sootline.visitor"
# what a proxy adds to a request: whoever comes through one is not known to sit at this machine
_BY_PROXY = ("forwarded", "via", "x-forwarded-for", "x-forwarded-host", "x-forwarded-proto", "x-real-ip")


def person_of(request: Request) -> Person:
    """Whoever sent the request; nobody where that is not known."""
    person = request.scope.get(_PERSON, NOBODY)
    assert isinstance(person, Person)
    return person


class Visitors:
    """Finds out who asks before anything else does.

    local: the pages are served to this machine only; as long as there is no account, who comes directly is the owner
    """

    def __init__(self, app: ASGIApp, people: People, local: bool, now: Callable[[], int]) -> None:
        self._app = app
        self._people = people
        self._local = local
        self._now = now

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and not scope["path"].startswith("/static/"):
            request = Request(scope)
            try:
                scope[_PERSON] = await run_in_threadpool(self._find, request)
            except StoreUnavailable as error:
                await PlainTextResponse(f"Nobody can be let in: {error}\n", 503)(scope, receive, send)
                return
            scope[_AGAIN] = self
        await self._app(scope, receive, send)

    def _find(self, request: Request) -> Person:
        now_ms = self._now()
        person = NOBODY
        if token := request.cookies.get(SESSION_COOKIE):
            person = self._people.by_session(token, now_ms)
        if person.role == "nobody" and (token := request.cookies.get(LINK_COOKIE)):
            person = self._people.by_link(token, now_ms)
        if person.role == "nobody" and self._local and _is_direct(request) and not self._people.any():
            person = Person(_remembered_name(request), "owner", known=False)
        return person

    async def while_allowed(self, request: Request, messages: AsyncGenerator[bytes]) -> AsyncIterator[bytes]:
        """A long answer, which ends soon after the person has signed out, was removed, or their link has ended."""
        looked_ms = self._now()
        async with aclosing(messages):
            async for message in messages:
                if self._now() - looked_ms >= RECHECK_MS:
                    looked_ms = self._now()
                    if await run_in_threadpool(self._find, request) != person_of(request):
                        return
                yield message


def while_allowed(request: Request, messages: AsyncGenerator[bytes]) -> AsyncIterator[bytes]:
    """See `Visitors.while_allowed`."""
    visitors = request.scope[_AGAIN]
    assert isinstance(visitors, Visitors)
    return visitors.while_allowed(request, messages)


def _is_direct(request: Request) -> bool:
    return not any(name in request.headers for name in _BY_PROXY)


def _remembered_name(request: Request) -> str:
    """The name this browser gave before, or nothing."""
    return unquote(request.cookies.get(NAME_COOKIE, ""))[:NAME_LIMIT]
