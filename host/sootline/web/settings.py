"""The settings: what the analysis works with, how long data are kept, how the host runs, and each furnace's profile."""

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from sootline import units, wording
from sootline.analysis.settings import Settings, table
from sootline.errors import ProfileError, UserError
from sootline.files import profiles
from sootline.now import FurnaceNow
from sootline.people.people import LINK_MOST_DAYS, People
from sootline.people.person import ROLES
from sootline.store import Store
from sootline.store.sizes import Sizes
from sootline.web.forms import FormError, read_form
from sootline.web.people import may, person_of
from sootline.web.profile_views import FIELDS, HEATING, changes, value_views
from sootline.web.render import Renderer
from sootline.web.source import Live

log = logging.getLogger(__name__)

MIRRORS = "mirror:"
MIRRORED_MS = 120_000  # the newest minute is always sent twice, so it never counts as surely there


@dataclass(frozen=True, slots=True)
class KeptView:
    """How much is kept of one furnace, and how much it will be."""

    name: str
    since: str
    size: str
    a_day: str
    forecast: str


class SettingsPages:
    """about: how the host was started, in words that do not change while it runs."""

    def __init__(
        self,
        live: Live,
        store: Store,
        people: People,
        renderer: Renderer,
        folder: Path,
        about: Sequence[tuple[str, str]],
        now: Callable[[], int],
    ) -> None:
        self._live = live
        self._store = store
        self._people = people
        self._renderer = renderer
        self._folder = folder
        self._about = about
        self._now = now

    def page(self, request: Request) -> Response:
        """All settings but those of the analysis and the profiles, which have pages of their own."""
        person, now_ms = person_of(request), self._now()
        owner = may(person, "manage")
        names = sorted({*self._store.furnaces(), *(now.furnace for now in self._live.furnaces()), *self._live.profiles})
        sizes, retention = self._store.sizes(), self._store.retention()
        return self._renderer.page(
            request, "settings.html",
            furnaces=[(name, wording.furnace_name(name), name in self._live.profiles) for name in names],
            names={name: wording.furnace_name(name) for name in names},
            kept=_kept(sizes, retention.raw_days, lambda t_ms: units.clock(t_ms, now_ms)),
            ages=_ages(retention.raw_days, retention.hourly_days, retention.event_days),
            database=_bytes(sizes.database_bytes), free=_bytes(sizes.free_bytes),
            about=self._about if owner else (),
            mirrors=self._mirrors(),
            set_aside=sum(sum(self._store.set_aside_counts(name).values()) for name in ("", *names)),
            owner=owner,
            accounts=self._people.accounts(now_ms) if owner else [],
            links=self._people.links(now_ms) if owner else [],
            roles=ROLES[:0:-1], most_days=LINK_MOST_DAYS, anybody=self._people.any(),
            changed=request.query_params.get("changed", ""),
        )  # fmt: skip

    def analysis(self, request: Request) -> Response:
        """Every threshold of the analysis, with its reason."""
        standard = Settings()
        rows = [
            (setting.name, f"{getattr(standard, setting.name):g}", setting.metadata["unit"], setting.metadata["reason"])
            for setting in table()
        ]
        return self._renderer.page(request, "analysis-settings.html", rows=rows)

    def profile(self, request: Request) -> Response:
        """The profile of one furnace, and the form to change it."""
        furnace = self._furnace(request)
        return self._renderer.not_found(request) if furnace is None else self._show(request, furnace)

    async def change(self, request: Request) -> Response:
        """Change the profile of a furnace; the analysis takes it up as at a start."""
        furnace = await run_in_threadpool(self._furnace, request)
        if furnace is None:
            return self._renderer.not_found(request)
        try:
            form = await read_form(request)
            return await run_in_threadpool(self._change, request, furnace, form)
        except (FormError, UserError) as error:
            return await run_in_threadpool(self._show, request, furnace, str(error))

    def _change(self, request: Request, furnace: FurnaceNow, form: dict[str, str]) -> Response:
        name = furnace.furnace
        file = profiles.find(self._folder, name)
        values = {} if "again" in form else changes(form, file.profile, self._renderer.system(request))
        if values:
            profiles.change(self._folder, name, values, form.get("seen", ""), self._now())
            log.info("profile of %s changed by %s: %s", name, person_of(request).name or "owner", ", ".join(values))
        self._live.reread(name)
        return RedirectResponse(f"/furnace/{name}/profile?saved={len(values)}", 303)

    def _show(self, request: Request, furnace: FurnaceNow, refused: str = "") -> Response:
        system = self._renderer.system(request)
        try:
            file = profiles.find(self._folder, furnace.furnace)
            problem = ""
        except ProfileError as error:
            file, problem = None, str(error)
        in_force = self._live.profiles.get(furnace.furnace) or profiles.default(furnace.furnace)
        shown = file.profile if file else in_force
        values = value_views(shown, file.lines if file else {}, furnace.learned, furnace.readiness, system)
        return self._renderer.page(
            request, "profile.html", 400 if refused else 200,
            view=self._renderer.view(furnace.furnace, system),
            values=values,
            heating=HEATING,
            file=file,
            there=file is not None and bool(file.text),
            owner=may(person_of(request), "manage"),
            apart=file is not None and file.profile != in_force,
            refused=refused or problem,
            saved=request.query_params.get("saved", ""),
            count=len(FIELDS),
        )  # fmt: skip

    def _furnace(self, request: Request) -> FurnaceNow | None:
        name = request.path_params["furnace"]
        return next((now for now in self._live.furnaces() if now.furnace == name), None)

    def _mirrors(self) -> list[tuple[str, str]]:
        """Each mirror's name and how far it has come."""
        last = {name: self._store.last_received_ms(name) for name in self._store.furnaces()}
        found = []
        for name, kept in sorted(self._store.recall_all(MIRRORS).items()):
            arrived = (kept.get("safe") or {}).get("arrived") or {}
            behind_ms = max((ms - arrived.get(furnace, 0) for furnace, ms in last.items() if ms is not None), default=0)
            words = "everything is there"
            if behind_ms > MIRRORED_MS:
                words = f"there but for the last {units.duration(behind_ms / 1000)}" if arrived else "nothing sent yet"
            found.append((name.removeprefix(MIRRORS), words))
        return found


def _kept(sizes: Sizes, raw_days: float | None, clock: Callable[[int], str]) -> list[KeptView]:
    long = "10 years" if raw_days is None else _long(raw_days)
    return [
        KeptView(
            wording.furnace_name(one.furnace),
            clock(one.first_ms),
            _bytes(one.day_bytes),
            "" if one.bytes_a_day is None else _bytes(one.bytes_a_day),
            "" if one.bytes_a_day is None else f"{_bytes(one.forecast_bytes(raw_days) or 0.0)} in {long}",
        )
        for one in sizes.furnaces
    ]


def _ages(raw: float | None, hourly: float | None, event: float | None) -> list[tuple[str, str]]:
    named = (("Every reading", raw), ("Hourly figures", hourly), ("Events, alarms, log", event))
    return [(what, _long(days)) for what, days in named]


def _long(days: float | None) -> str:
    if days is None:
        return "for ever"
    return f"{days / 365.25:.3g} years" if days >= 730 else f"{days:g} days"


def _bytes(number: float) -> str:
    for unit in ("B", "kB", "MB"):
        if number < 1000:
            return f"{number:.3g} {unit}"
        number /= 1000
    return f"{number:.3g} GB"
