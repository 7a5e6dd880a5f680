"""What the owner does about people: accounts, passwords, links; and what everybody may do about their own password."""

from collections.abc import Callable
from typing import cast

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from sootline.errors import UserError
from sootline.people.people import People
from sootline.people.person import Role
from sootline.people.throttle import Throttle
from sootline.web.forms import FormError, read_form
from sootline.web.labels import only_here
from sootline.web.people import person_of
from sootline.web.render import Renderer
from sootline.web.sign_in import begin_session
from sootline.web.source import Live


class Staff:
    def __init__(self, people: People, live: Live, renderer: Renderer, now: Callable[[], int]) -> None:
        self._people = people
        self._live = live
        self._renderer = renderer
        self._now = now
        self._throttle = Throttle()

    async def add(self, request: Request) -> Response:
        """Somebody new; the very first one has then to sign in."""
        return await self._do(request, self._add, "people")

    async def remove(self, request: Request) -> Response:
        """Take somebody's account away."""
        return await self._do(request, lambda form: self._people.remove(form.get("name", "")), "people")

    async def password(self, request: Request) -> Response:
        """Give somebody a new password."""
        return await self._do(request, self._set_password, "people")

    async def take_back(self, request: Request) -> Response:
        """End a link."""

        def act(form: dict[str, str]) -> None:
            number = form.get("link", "")
            if not number.isdecimal() or len(number) > 12 or not self._people.take_back(int(number)):
                raise FormError("That link has ended already.")

        return await self._do(request, act, "links")

    async def share(self, request: Request) -> Response:
        """Make a link and show it, once."""
        try:
            form = await read_form(request)
            furnace = form.get("furnace") or None
            if furnace is not None and all(now.furnace != furnace for now in self._live.furnaces()):
                raise FormError("Choose the furnace.")
            days = form.get("days", "")
            if not days.isdecimal() or len(days) > 3:
                raise FormError("Give the number of days.")
            by = person_of(request).name or "the owner"
            made = await run_in_threadpool(
                self._people.share, form.get("whom", ""), furnace, int(days), by, self._now()
            )
        except (FormError, UserError) as error:
            return self._refuse(request, str(error))
        url = f"{request.url.scheme}://{request.headers['host']}/shared/{made}"
        return self._renderer.page(
            request, "link.html", whom=form["whom"], link=url, days=int(days), only_here=only_here(url)
        )

    async def own_password(self, request: Request) -> Response:
        """A new password for whoever has signed in; their other sessions end."""
        person = person_of(request)
        try:
            form = await read_form(request)
            if not person.known or person.by_link:
                raise FormError("Nobody has signed in here, so there is no password to change.")
            address, now_ms = request.client.host if request.client else "", self._now()
            if wait_s := self._throttle.try_again_s(address, person.name, "", now_ms):
                raise FormError(f"Too many tries. Wait {-(-wait_s // 60)} min.")
            if await run_in_threadpool(self._people.fits, person.name, form.get("old", "")) is None:
                raise FormError("The old password is not right.")
            self._throttle.succeeded(address, person.name, "")
            if form.get("new") != form.get("again"):
                raise FormError("The two new passwords are not the same.")
            await run_in_threadpool(self._people.set_password, person.name, form.get("new", ""))
        except (FormError, UserError) as error:
            return self._refuse(request, str(error))
        response = RedirectResponse("/settings?changed=password", 303)
        await begin_session(request, response, self._people, person.name, self._now())
        return response

    async def _do(self, request: Request, act: Callable[[dict[str, str]], None], what: str) -> Response:
        try:
            form = await read_form(request)
            await run_in_threadpool(act, form)
        except (FormError, UserError) as error:
            return self._refuse(request, str(error))
        return RedirectResponse(f"/settings?changed={what}#{what}", 303)

    def _add(self, form: dict[str, str]) -> None:
        role = cast(Role, form.get("role", ""))  # what is no role is refused there
        self._people.add(form.get("name", ""), role, form.get("password", ""), self._now())

    def _set_password(self, form: dict[str, str]) -> None:
        self._people.set_password(form.get("name", ""), form.get("password", ""))

    def _refuse(self, request: Request, message: str) -> Response:
        text = message[:1].upper() + message[1:]
        return self._renderer.page(request, "message.html", 400, title="Not done", message=text)
