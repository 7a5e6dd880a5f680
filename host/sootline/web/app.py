"""The web application: addresses, and what stands before and behind every answer."""

import contextlib
from collections.abc import AsyncIterator, Callable, Sequence
from pathlib import Path

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.routing import Route

from sootline.errors import SootlineError
from sootline.people.people import People
from sootline.store import Store
from sootline.units import System
from sootline.web.access import guarded, menu
from sootline.web.assets import Assets
from sootline.web.commission import Commission
from sootline.web.decisions import Decisions
from sootline.web.faults import Faults
from sootline.web.feed import Feed
from sootline.web.forms import Forms
from sootline.web.labels import Labels
from sootline.web.logbook import Logbook
from sootline.web.messages import Messages
from sootline.web.pages import Pages
from sootline.web.people import Visitors
from sootline.web.records import Records
from sootline.web.render import Renderer
from sootline.web.reports import Reports
from sootline.web.security import Guard
from sootline.web.settings import SettingsPages
from sootline.web.sign_in import SignIn
from sootline.web.source import Live
from sootline.web.staff import Staff


def build(
    live: Live,
    store_folder: Path,
    units: System = "si",
    *,
    now: Callable[[], int],
    hosts: tuple[str, ...] = (),
    profiles: Path | None = None,
    local: bool = True,
    about: Sequence[tuple[str, str]] = (),
) -> Starlette:
    """The application.

    live:         the running service
    store_folder: where the store lies; opened for reading only
    units:        what a browser sees that has not chosen
    now:          the present moment [ms since the Unix epoch]
    hosts:        names besides addresses and home-network names under which the pages may be reached
    profiles:     folder of the profile files; None is store_folder/profiles
    local:        served to this machine only, where nobody need sign in before there is an account
    about:        how the host was started, for the settings page
    `app.state.release()` lets all open pages go, before the server is stopped.
    """
    people = People(store_folder)
    renderer = Renderer(live, Assets(), units, now)
    store = Store.open(store_folder, read_only=True)
    feed = Feed(live, renderer.parts, now)
    commission = Commission(live, renderer, store_folder, now)
    pages = Pages(live, store, renderer, feed, commission, now)
    records = Records(live, store, renderer, now)
    profile_folder = profiles or store_folder / "profiles"
    decisions = Decisions(store, renderer, store_folder, profile_folder, now)
    reports = Reports(store, renderer, profile_folder, now)
    logbook = Logbook(live, store, renderer, now)
    faults = Faults(live, store, renderer, now)
    labels = Labels(live, store, renderer)
    forms = Forms(live, renderer, now)
    messages = Messages(live, store, renderer, store_folder, now)
    sign_in = SignIn(people, renderer, now)
    staff = Staff(people, live, renderer, now)
    settings = SettingsPages(live, store, people, renderer, profiles or store_folder / "profiles", about, now)

    @contextlib.asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        await feed.start()
        yield
        await feed.stop()
        store.close()
        people.close()

    routes = [
        Route("/", pages.furnaces),
        Route("/furnace/{furnace}", pages.furnace),
        Route("/furnace/{furnace}/sensors", pages.sensors),
        Route("/furnace/{furnace}/season", pages.season),
        Route("/furnace/{furnace}/next", decisions.next),
        Route("/furnace/{furnace}/cleaning", decisions.cleaning),
        Route("/furnace/{furnace}/cleaning", decisions.cleaning_send, methods=["POST"]),
        Route("/furnace/{furnace}/oil", decisions.oil),
        Route("/furnace/{furnace}/oil", decisions.oil_send, methods=["POST"]),
        Route("/furnace/{furnace}/reports", reports.page),
        Route("/furnace/{furnace}/reports/{name}", reports.report),
        Route("/furnace/{furnace}/tables/{name}", reports.table),
        Route("/furnace/{furnace}/commission", commission.page),
        Route("/furnace/{furnace}/commission", commission.send, methods=["POST"]),
        Route("/furnace/{furnace}/commission/sheet", commission.sheet),
        Route("/furnace/{furnace}/service", messages.service, methods=["POST"]),
        Route("/furnace/{furnace}/chart.json", pages.chart),
        Route("/furnace/{furnace}/overlay.json", records.overlay),
        Route("/furnace/{furnace}/trend.json", records.trend),
        Route("/furnace/{furnace}/profile", settings.profile),
        Route("/furnace/{furnace}/profile", settings.change, methods=["POST"]),
        Route("/furnace/{furnace}/fault", faults.begin),
        Route("/furnace/{furnace}/fault", faults.answer, methods=["POST"]),
        Route("/furnace/{furnace}/fault/{search}", faults.page),
        Route("/furnace/{furnace}/{what}", records.events),
        Route("/alarms", records.alarms),
        Route("/alarms/figures", records.figures),
        Route("/log", logbook.page),
        Route("/log/away", logbook.away),
        Route("/log/token", logbook.token),
        Route("/log/photo/{id}", logbook.photo),
        Route("/set-aside", records.set_aside),
        Route("/messages", messages.page),
        Route("/messages/confirm", messages.confirm, methods=["POST"]),
        Route("/messages/test", messages.test, methods=["POST"]),
        Route("/live", pages.live),
        Route("/labels", labels.page),
        Route("/keeper.js", pages.keeper),
        Route("/static/{fingerprint}/{name}", pages.static),
        Route("/acknowledge", forms.acknowledge, methods=["POST"]),
        Route("/shelve", forms.shelve, methods=["POST"]),
        Route("/log", logbook.send, methods=["POST"]),
        Route("/log/undo", logbook.undo, methods=["POST"]),
        Route("/units", forms.units, methods=["POST"]),
        Route("/sign-in", sign_in.page),
        Route("/sign-in", sign_in.enter, methods=["POST"]),
        Route("/sign-out", sign_in.leave, methods=["POST"]),
        Route("/shared/{token}", sign_in.shared),
        Route("/settings", settings.page),
        Route("/settings/analysis", settings.analysis),
        Route("/people", staff.add, methods=["POST"]),
        Route("/people/remove", staff.remove, methods=["POST"]),
        Route("/people/password", staff.password, methods=["POST"]),
        Route("/links", staff.share, methods=["POST"]),
        Route("/links/take-back", staff.take_back, methods=["POST"]),
        Route("/password", staff.own_password, methods=["POST"]),
    ]
    renderer.menu = menu(routes)
    app = Starlette(
        routes=guarded(routes, renderer),
        middleware=[
            Middleware(Guard, hosts=hosts),
            Middleware(Visitors, people=people, local=local, now=now),
            Middleware(GZipMiddleware, minimum_size=600, compresslevel=6),
        ],
        exception_handlers={404: pages.not_found, SootlineError: pages.unavailable},
        lifespan=lifespan,
    )
    app.state.release = feed.release
    return app
