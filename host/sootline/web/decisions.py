"""The pages the owner decides by: when to clean and why; the oil, the stock and what a batch needs."""

from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import get_args
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from sootline.advice import ledger, oil_log, proof
from sootline.advice.burned import burned, profile_of
from sootline.advice.cleaning import CAUTION, Picture, draw
from sootline.advice.limits import Given, day_given
from sootline.advice.oil import CAUTION as OIL_CAUTION
from sootline.advice.rises import rises
from sootline.advice.stock import Given as StockGiven
from sootline.advice.stock import stock
from sootline.errors import OutOfRange, UserError
from sootline.heat.conversions import GALLON_L, POUND_KG, celsius_from_fahrenheit
from sootline.heat.grades import GRADES
from sootline.heat.used_oil import DEFERS, MAX_PPM, OilBatch, Source
from sootline.papers.cleaning import CleaningView, cleaning_view
from sootline.papers.oil import SOURCES, StockView, batch_views, blend_view, stock_view
from sootline.papers.words import plain
from sootline.profile import Profile
from sootline.store import Store
from sootline.units import System, unit_of
from sootline.web.forms import FormError, read_form
from sootline.web.render import Renderer

STOCK_DAYS = 60
BLEND_PARTS = 3


class Decisions:
    """Reads the store anew for each page; a picture once drawn is kept until something it rests on has changed."""

    def __init__(
        self, store: Store, renderer: Renderer, folder: Path, profile_folder: Path, now: Callable[[], int]
    ) -> None:
        self._store = store
        self._renderer = renderer
        self._folder = folder
        self._profile_folder = profile_folder
        self._now = now
        self._drawn: dict[tuple[str, Given], tuple[object, Picture]] = {}

    def next(self, request: Request) -> Response:
        """What comes next at a furnace, in a few words for its page: the cleaning, and how long the oil lasts."""
        furnace = request.path_params["furnace"]
        system = self._renderer.system(request)
        if self._renderer.view(furnace, system) is None:
            return self._renderer.not_found(request)
        known = self._profile(furnace)
        try:
            told = self._told(furnace, Given(), system)
            stock = None if known is None else self._stock(*known, StockGiven(), system)[0]
        except (UserError, OutOfRange) as error:
            return self._refused(request, error)
        return self._renderer.page(
            request, "_next.html", furnace=furnace,
            cleaning_words=_led("Cleaning", told.headline) if told else "",
            oil_words=_led("Oil", stock.headline) if stock else "",
        )  # fmt: skip

    # the heat exchanger

    def cleaning(self, request: Request) -> Response:
        """When to clean, what waiting costs, the evidence and what it lacks, what cleanings did."""
        system = self._renderer.system(request)
        view = self._renderer.view(request.path_params["furnace"], system)
        if view is None:
            return self._renderer.not_found(request)
        try:
            told = self._told(view.furnace, _given(request, system), system)
        except (FormError, UserError, OutOfRange) as error:
            return self._refused(request, error)
        return self._renderer.page(
            request, "cleaning.html", view=view, told=told, caution=CAUTION,
            degree=unit_of("temperature", system).label,
            mass="lb" if system == "us" else "kg", asked=request.query_params,
            said=request.query_params.get("said", ""),
        )  # fmt: skip

    def _told(self, furnace: str, given: Given, system: System) -> CleaningView | None:
        """None where nothing is stored of the furnace."""
        known = self._profile(furnace)
        if known is None:
            return None
        profile, now_ms = known
        picture = self._picture(furnace, profile, now_ms, given)
        kept = ledger.load(ledger.path_of(self._folder, furnace))
        done = proof.cleanings(self._store, profile, now_ms, kept)
        return cleaning_view(picture, rises(self._store, picture), done, kept, system, None)

    def _picture(self, furnace: str, profile: Profile, now_ms: int, given: Given) -> Picture:
        seen = burned(self._store, profile, now_ms)
        ends = tuple(events[-1].end_ms if events else 0 for events in (seen.firings, seen.refills, seen.steady))
        batches = oil_log.path_of(self._folder)
        stamp = (profile, ends, now_ms // 86_400_000, batches.stat().st_mtime_ns if batches.exists() else 0)
        kept = self._drawn.get((furnace, given))
        if kept is None or kept[0] != stamp:
            if len(self._drawn) > 50:
                self._drawn.clear()
            kept = self._drawn[furnace, given] = (stamp, draw(self._store, seen, given))
        return kept[1]

    async def cleaning_send(self, request: Request) -> Response:
        """Write a prediction down before a cleaning, or compare it after one."""
        return await self._sent(request, self._cleaning_send)

    def _cleaning_send(self, furnace: str, form: dict[str, str], system: System) -> str:
        profile, now_ms = self._known(furnace)
        if form.get("act") == "prove":
            ash = _number(form.get("ash"), "The ash")
            kg = None if ash is None else ash * (POUND_KG if system == "us" else 1.0)
            proof.prove(self._store, profile, now_ms, self._folder, kg)
            return f"/furnace/{quote(furnace)}/cleaning?said=proved"
        picture = self._picture(furnace, profile, now_ms, Given())
        if picture.course is None:
            raise UserError(f"Nothing can be predicted yet: {picture.refused}.")
        proof.predict(ledger.path_of(self._folder, furnace), now_ms, picture.rise, picture.ash)
        return f"/furnace/{quote(furnace)}/cleaning?said=predicted"

    # oil

    def oil(self, request: Request) -> Response:
        """What was burned and is left, the batches and their tests, what a blend needs."""
        system = self._renderer.system(request)
        view = self._renderer.view(request.path_params["furnace"], system)
        if view is None:
            return self._renderer.not_found(request)
        query = request.query_params
        try:
            known = self._profile(view.furnace)
            told: StockView | None = None
            why = "Nothing is stored of this furnace yet."
            if known is not None:
                told, why = self._stock(*known, _stock_given(request, system), system)
            logged = oil_log.load(oil_log.path_of(self._folder))
            batches = batch_views(enumerate(logged, 1), self._folder, system)
            parts = _parts(request)
            differential = known[0].refill.differential_l if known else None
            blend, notes = blend_view(parts, differential, system) if parts else ((), ())
        except (FormError, UserError, OutOfRange) as error:
            return self._refused(request, error)
        return self._renderer.page(
            request, "oil.html", view=view, told=told, why=why, batches=batches, blend=blend, blend_notes=notes,
            kinds=GRADES, sources=SOURCES, tests=MAX_PPM, defers=DEFERS, caution=OIL_CAUTION, asked=query,
            degree=unit_of("temperature", system).label, volume=unit_of("volume", system).label,
            parts=[*parts.items(), *[("", 0.0)] * (BLEND_PARTS - len(parts))],
            today=f"{datetime.fromtimestamp(self._now() / 1000):%Y-%m-%d}", said=query.get("said", ""),
        )  # fmt: skip

    def _stock(self, profile: Profile, now_ms: int, given: StockGiven, system: System) -> tuple[StockView | None, str]:
        if profile.refill.differential_l is None:
            return None, "Oil is counted in refills: set refill.differential_l in the profile, the litres of one."
        return stock_view(stock(self._store, profile, now_ms, STOCK_DAYS, given), system, None), ""

    async def oil_send(self, request: Request) -> Response:
        """Log a batch of oil."""
        return await self._sent(request, self._oil_send)

    def _oil_send(self, furnace: str, form: dict[str, str], system: System) -> str:
        oil_log.append(oil_log.path_of(self._folder), _batch(form, system, self._now()))
        return f"/furnace/{quote(furnace)}/oil?said=batch#batches"

    # both

    async def _sent(self, request: Request, act: Callable[[str, dict[str, str], System], str]) -> Response:
        """What came of a posted form: the page it leads to, or why not."""
        system = self._renderer.system(request)
        furnace = request.path_params["furnace"]
        try:
            form = await read_form(request)
            there = await run_in_threadpool(act, furnace, form, system)
        except (FormError, UserError, OutOfRange) as error:
            return self._refused(request, error)
        return RedirectResponse(there, 303)

    def _refused(self, request: Request, error: Exception) -> Response:
        text = plain(str(error), self._renderer.system(request))
        return self._renderer.page(request, "message.html", 400, title="Not done", message=text)

    def _profile(self, furnace: str) -> tuple[Profile, int] | None:
        """The profile with the whole log, and the time of the last reading; None where there is none."""
        extent = self._store.extent(furnace)
        if extent is None:
            return None
        return profile_of(self._store, furnace, self._profile_folder), extent[1]

    def _known(self, furnace: str) -> tuple[Profile, int]:
        known = self._profile(furnace)
        if known is None:
            raise UserError("Nothing is stored of this furnace yet.")
        return known


def _led(what: str, headline: str) -> str:
    """A page's headline as a line of another page: `Cleaning: no date yet, learning the clean stack`."""
    return f"{what}: {headline[:1].lower()}{headline[1:].replace(': ', ', ')}."


def _given(request: Request, system: System) -> Given:
    query = request.query_params
    coldest, full = _number(query.get("coldest"), "The coldest day"), _number(query.get("ash_full"), "The ash")
    if coldest is not None and system == "us":
        coldest = celsius_from_fahrenheit(coldest)
    if full is not None:
        full *= POUND_KG if system == "us" else 1.0
    end, smoke_on = query.get("season_end"), query.get("smoke_on")
    smoke = _number(query.get("smoke"), "The smoke number")
    return Given(
        smoke=((day_given(smoke_on), smoke),) if smoke_on and smoke is not None else (),
        season_end=day_given(end) if end else None,
        coldest_C=coldest,
        ash_full_kg=full,
    )


def _stock_given(request: Request, system: System) -> StockGiven:
    query = request.query_params
    litres, outdoor = _number(query.get("stock"), "The stock"), _number(query.get("outdoor"), "The temperature")
    if system == "us":
        litres = None if litres is None else litres * GALLON_L
        outdoor = None if outdoor is None else celsius_from_fahrenheit(outdoor)
    if litres is not None and litres < 0:
        raise UserError("The stock cannot be less than nothing.")
    return StockGiven(None, litres, outdoor)


def _parts(request: Request) -> dict[str, float]:
    """The blend asked for: kind to parts."""
    parts: dict[str, float] = {}
    for i in range(1, BLEND_PARTS + 1):
        kind = request.query_params.get(f"kind{i}", "")
        share = _number(request.query_params.get(f"part{i}"), "A part of the blend")
        if kind and share:
            if kind not in GRADES or share < 0:
                raise UserError("Choose kinds of the list, and parts of more than nothing.")
            parts[kind] = parts.get(kind, 0.0) + share
    return parts


def _batch(form: dict[str, str], system: System, now_ms: int) -> OilBatch:
    source = next((s for s in get_args(Source) if s == form.get("source")), None)
    if source is None:
        raise FormError("Say where the oil came from.")
    kind = " ".join(form.get("kind", "").split())[:80]
    if not kind:
        raise FormError("Say what kind of oil it is.")
    volume = _number(form.get("volume"), "The volume")
    if volume is None or volume <= 0:
        raise FormError("The volume of a batch must be more than nothing.")
    flash = _number(form.get("flash"), "The flash point")
    if flash is not None and system == "us":
        flash = celsius_from_fahrenheit(flash)
    tests = {name: _number(form.get(f"ppm_{name}"), name.capitalize()) for name in MAX_PPM}
    return OilBatch(
        _received(form.get("received"), now_ms), source, kind, volume * (GALLON_L if system == "us" else 1.0),
        {name: value for name, value in tests.items() if value is not None}, flash,
        " ".join(form.get("analysis", "").split())[:200],
    )  # fmt: skip


def _received(text: str | None, now_ms: int) -> date:
    today = datetime.fromtimestamp(now_ms / 1000, UTC).date()
    received = day_given(text) if text else today
    if (received - today).days > 1:
        raise FormError("The day it came lies in the future.")
    return received


def _number(text: str | None, what: str) -> float | None:
    """A number as typed, a comma or a point in it; None where nothing was typed. Raises: FormError"""
    if text is None or not text.strip():
        return None
    try:
        value = float(text.strip().replace(",", "."))
    except ValueError:
        value = float("nan")
    if not -1e6 < value < 1e6:
        raise FormError(f"{what} must be a number.")
    return value
