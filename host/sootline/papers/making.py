"""From a data folder to a paper: the cleaning report, the season report and the inspector's pack of one furnace."""

from datetime import UTC, datetime
from typing import Literal, get_args

from sootline.advice import digest, ledger, proof
from sootline.advice.burned import DAY_MS, burned
from sootline.advice.cleaning import draw
from sootline.advice.limits import Given
from sootline.advice.rises import rises
from sootline.errors import UserError
from sootline.papers.cleaning import CleaningView, cleaning_view
from sootline.papers.inspection import inspection_view
from sootline.papers.render import Paper
from sootline.papers.season import season_view
from sootline.profile import Profile
from sootline.store import Store
from sootline.units import System
from sootline.wording import furnace_name

Kind = Literal["season", "cleaning", "inspection"]
KINDS: tuple[Kind, ...] = get_args(Kind)
TITLES: dict[Kind, str] = {
    "season": "Season report",
    "cleaning": "Cleaning report",
    "inspection": "Inspector's pack",
}
LONGEST_MS = 366 * DAY_MS


def cleaning_of(store: Store, profile: Profile, now_ms: int, system: System) -> CleaningView:
    """What the cleaning page says of a furnace. Raises: OutOfRange, UserError"""
    picture = draw(store, burned(store, profile, now_ms), Given())
    kept = ledger.load(ledger.path_of(store.folder, profile.furnace.id))
    done = proof.cleanings(store, profile, now_ms, kept)
    return cleaning_view(picture, rises(store, picture), done, kept, system, None)


def make(
    kind: Kind, store: Store, profile: Profile, system: System, start_ms: int | None = None, end_ms: int | None = None
) -> Paper:
    """A paper of what is stored in [start_ms, end_ms); without them the last year, until the last reading.

    Raises: OutOfRange, UserError where there is nothing to tell
    """
    furnace = profile.furnace.id
    extent = store.extent(furnace)
    if extent is None:
        raise UserError(f"nothing is stored of '{furnace}' yet")
    end_ms = min(extent[1] + 1, extent[1] + 1 if end_ms is None else end_ms)
    start_ms = max(extent[0], end_ms - LONGEST_MS if start_ms is None else start_ms)
    if end_ms - start_ms < DAY_MS:
        raise UserError("a report needs at least a day of readings between its two days")
    digests = digest.manifest(store, furnace, start_ms, end_ms, extent[1])
    made = f"{datetime.fromtimestamp(extent[1] / 1000, UTC):%Y-%m-%d %H:%M} UTC"
    view: object
    if kind == "inspection":
        view = inspection_view(store, profile, start_ms, end_ms, system)
    else:
        view = cleaning_of(store, profile, end_ms - 1, system)
        if kind == "season":
            view = season_view(store, profile, start_ms, end_ms, view, system)
    return Paper(kind, f"{TITLES[kind]}, {furnace_name(furnace)}", made, view, digests)
