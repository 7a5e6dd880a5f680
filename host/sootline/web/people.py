"""Who sends a request, told to every handler: `person_of(request)`, and `may(person, act)`."""

from urllib.parse import unquote

from starlette.requests import Request
from starlette.types import ASGIApp, Receive, Scope, Send

from sootline.people.person import NOBODY, Person, may

__all__ = ["NAME_COOKIE", "NAME_LIMIT", "Person", "Visitors", "may", "person_of"]

NAME_COOKIE = "sootline_name"
NAME_LIMIT = 40
_PERSON = "sootline.person"


def person_of(request: Request) -> Person:
    """Whoever sent the request; nobody where that is not known."""
    person = request.scope.get(_PERSON, NOBODY)
    assert isinstance(person, Person)
    return person


class Visitors:
    """Finds out who asks before anything else does. At the machine itself, without accounts, it is the owner."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http":
            scope[_PERSON] = Person(_remembered_name(Request(scope)), "owner", known=False)
        await self._app(scope, receive, send)


def _remembered_name(request: Request) -> str:
    """The name this browser gave before, or nothing."""
    return unquote(request.cookies.get(NAME_COOKIE, ""))[:NAME_LIMIT]
