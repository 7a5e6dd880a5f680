"""Who may talk to the pages, and what a browser may do with them."""

import hmac
import ipaddress
import secrets
from typing import Literal

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

CSRF_COOKIE = "sootline_form"

_HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
    "connect-src 'self'; manifest-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
}
# names that no outside name server can point at this machine, so that a foreign page cannot reach it by such a name
_HOME_ENDINGS = (".local", ".lan", ".internal", ".home.arpa", ".localhost")


def host_allowed(host_header: str, hosts: tuple[str, ...] = ()) -> bool:
    """Whether a Host header names this machine: an address, a home-network name, or one of `hosts`."""
    host = host_header.rpartition(":")[0] if host_header.rpartition(":")[2].isdigit() else host_header
    host = host.strip("[]").rstrip(".").lower()
    if not host:
        return False
    if host in hosts or "." not in host or host.endswith(_HOME_ENDINGS):
        return True
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return False
    return True


class Guard:
    """Refuses foreign host names and adds the security headers to every answer."""

    def __init__(self, app: ASGIApp, hosts: tuple[str, ...] = ()) -> None:
        self._app = app
        self._hosts = tuple(host.lower() for host in hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def send_guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(raw=message["headers"])
                for name, value in _HEADERS.items():
                    headers[name] = value
                headers.setdefault("Cache-Control", "no-store")
            await send(message)

        host = Headers(scope=scope).get("host", "")
        if host_allowed(host, self._hosts):
            await self._app(scope, receive, send_guarded)
        else:
            text = "This name is not known here. Add it to the web hosts in the settings, or use the address.\n"
            await PlainTextResponse(text, 421)(scope, receive, send_guarded)


def form_token(request: Request) -> str:
    """The token that forms of this browser must carry: the one in its cookie, or a new one."""
    token = request.cookies.get(CSRF_COOKIE, "")
    return token if len(token) == 43 else new_token()


def new_token() -> str:
    return secrets.token_urlsafe(32)


def keep_cookie(
    request: Request,
    response: Response,
    name: str,
    value: str,
    samesite: Literal["strict", "lax"] = "strict",
    max_age_s: int = 400 * 86400,
) -> None:
    """Set a cookie out of reach of scripts and other sites, for a heating season and a summer if not told otherwise.

    samesite: `lax` for one that must also come along when somebody follows a link from elsewhere, as from a message;
        no form of another site gets it either way
    """
    response.set_cookie(
        name, value, max_age=max_age_s, httponly=True, samesite=samesite, secure=request.url.scheme == "https"
    )


def form_is_ours(request: Request, given: str) -> bool:
    """Whether a posted form came from one of our own pages: same origin, and the token of the cookie."""
    site = request.headers.get("sec-fetch-site", "same-origin")
    origin = request.headers.get("origin")
    if site != "same-origin" or (origin not in (None, "null") and origin.partition("//")[2] != request.headers["host"]):
        return False
    expected = request.cookies.get(CSRF_COOKIE, "")
    return len(expected) == 43 and hmac.compare_digest(expected.encode(), given.encode())
