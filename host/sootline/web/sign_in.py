"""Signing in and out, and the links by which a friend looks on."""

import asyncio
from collections.abc import Callable
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from sootline.people.people import LONGEST_MS, People
from sootline.people.throttle import Throttle
from sootline.web.forms import FormError, back, read_form
from sootline.web.people import LINK_COOKIE, SESSION_COOKIE, person_of
from sootline.web.render import Renderer
from sootline.web.security import CSRF_COOKIE, keep_cookie, new_token

BROWSER_COOKIE = "sootline_browser"
MOST_WAITING = 8
WRONG = "This name and this password do not belong together."


class SignIn:
    """Passwords are checked one at a time, for each check takes 64 MiB; only few may wait for their turn."""

    def __init__(self, people: People, renderer: Renderer, now: Callable[[], int]) -> None:
        self._people = people
        self._renderer = renderer
        self._now = now
        self._throttle = Throttle()
        self._turn = asyncio.Semaphore(1)
        self._waiting = 0

    def page(self, request: Request) -> Response:
        """The form; whoever is in already goes on."""
        if person_of(request).role != "nobody":
            return back(dict(request.query_params))
        return self._form(request, request.query_params.get("back", "/"))

    async def enter(self, request: Request) -> Response:
        """Check name and password, and begin a session."""
        try:
            form = await read_form(request)
        except FormError as error:
            return self._form(request, "/", 400, refused=str(error))
        return await self._enter(request, form, form.get("name", ""))

    async def _enter(self, request: Request, form: dict[str, str], given: str) -> Response:
        browser = request.cookies.get(BROWSER_COOKIE, "")
        if browser and not await run_in_threadpool(self._people.knows_browser, browser, given):
            browser = ""
        address = request.client.host if request.client else ""
        wait_s = self._throttle.try_again_s(address, given, browser, self._now())
        if wait_s or self._waiting >= MOST_WAITING:
            return self._too_many(request, form, given, wait_s)
        self._waiting += 1
        try:
            async with self._turn:
                name = await run_in_threadpool(self._people.fits, given, form.get("password", ""))
        finally:
            self._waiting -= 1
        if name is None:
            return self._form(request, form.get("back", "/"), 403, refused=WRONG, name=given)
        self._throttle.succeeded(address, given, browser)
        response = back(form)
        await begin_session(request, response, self._people, name, self._now(), known_browser=bool(browser))
        return response

    def _too_many(self, request: Request, form: dict[str, str], given: str, wait_s: int) -> Response:
        if wait_s:
            minutes = -(-wait_s // 60)
            text = (
                f"Too many tries. Wait {minutes} minute{'s' if minutes > 1 else ''}, or sign in where you have before."
            )
        else:
            text = "Many people are signing in at this moment. Try again in a few seconds."
        response = self._form(request, form.get("back", "/"), 429 if wait_s else 503, refused=text, name=given)
        response.headers["Retry-After"] = str(wait_s or 5)
        return response

    def _form(self, request: Request, back_to: str, status: int = 200, refused: str = "", name: str = "") -> Response:
        return self._renderer.page(
            request, "sign-in.html", status, back=back_to, refused=refused, name=name, anybody=self._people.any()
        )

    async def leave(self, request: Request) -> Response:
        """End this session, or all of this person's."""
        try:
            form = await read_form(request)
        except FormError as error:
            return self._renderer.page(request, "message.html", 400, title="Not done", message=str(error))
        person = person_of(request)
        if form.get("everywhere") and person.known and not person.by_link:
            await run_in_threadpool(self._people.sign_out_everywhere, person.name)
        elif token := request.cookies.get(SESSION_COOKIE):
            await run_in_threadpool(self._people.sign_out, token)
        response = RedirectResponse("/sign-in", 303)
        for cookie in (SESSION_COOKIE, LINK_COOKIE, CSRF_COOKIE):
            response.delete_cookie(cookie)
        return response

    def shared(self, request: Request) -> Response:
        """Somebody opens a link that was shared with them."""
        token = request.path_params["token"]
        person = self._people.by_link(token, self._now())
        if person.role == "nobody":
            text = "This link has ended, or was taken back. Ask whoever sent it for a new one."
            return self._renderer.page(request, "message.html", 404, title="Not here", message=text)
        path = "/" if person.furnace is None else f"/furnace/{quote(person.furnace)}"
        response = RedirectResponse(path, 303)
        if person_of(request).role == "nobody" or person_of(request).by_link:
            keep_cookie(request, response, LINK_COOKIE, token, "lax", 90 * 86400)
        return response


async def begin_session(
    request: Request, response: Response, people: People, name: str, now_ms: int, known_browser: bool = False
) -> None:
    """Let `response` begin a session of somebody whose password was right; forms from before it are no longer good."""
    session = await run_in_threadpool(people.sign_in, name, now_ms)
    keep_cookie(request, response, SESSION_COOKIE, session, "lax", LONGEST_MS // 1000)
    if not known_browser:
        browser = await run_in_threadpool(people.new_browser, name, now_ms)
        keep_cookie(request, response, BROWSER_COOKIE, browser)
    keep_cookie(request, response, CSRF_COOKIE, new_token(), "lax")
