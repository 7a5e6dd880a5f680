"""Profile files: one TOML file a furnace, written by its owner by hand or through the pages."""

import hashlib
import threading
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path

import tomlkit
from tomlkit.exceptions import TOMLKitError

from sootline.errors import ProfileError
from sootline.files.whole import write_whole
from sootline.profile import Furnace, Profile, parse

EARLIER = "earlier"
_TURN = threading.Lock()


@dataclass(frozen=True, slots=True)
class ProfileFile:
    """A profile as it lies in its folder. seen: tells one content apart from another; lines: line of each key set."""

    path: Path
    text: str
    profile: Profile
    seen: str
    lines: Mapping[str, int]


def load(path: Path) -> Profile:
    """The profile in a file. Raises ProfileError with one line that says what to do."""
    try:
        return parse(path.read_text(encoding="utf-8"), str(path))
    except OSError as error:
        raise ProfileError(f"{path}: cannot be read: {error.strerror}") from None
    except UnicodeDecodeError:
        raise ProfileError(f"{path}: is not UTF-8 text") from None


def load_folder(folder: Path) -> dict[str, Profile]:
    """Furnace -> its profile, from every `*.toml` in the folder; no folder means no profiles.

    Raises ProfileError where a file cannot be used or two files are for the same furnace.
    """
    profiles: dict[str, Profile] = {}
    for path in sorted(folder.glob("*.toml")):
        profile = load(path)
        if profile.furnace.id in profiles:
            raise ProfileError(
                f"{path}: another file in this folder is for furnace '{profile.furnace.id}' too; keep one"
            )
        profiles[profile.furnace.id] = profile
    return profiles


def find(folder: Path, furnace: str) -> ProfileFile:
    """The file of a furnace; where it has none yet, an empty one that a change will write. Raises ProfileError."""
    for path in sorted(folder.glob("*.toml")):
        if load(path).furnace.id == furnace:
            text = path.read_text(encoding="utf-8")
            return ProfileFile(path, text, parse(text, str(path)), _seen(text), _lines(text))
    return ProfileFile(folder / f"{furnace}.toml", "", default(furnace), _seen(""), {})


def change(
    folder: Path, furnace: str, values: Mapping[str, float | str | date | None], seen: str, now_ms: int
) -> Profile:
    """Write values into the file of a furnace, and leave everything else in it as it is, comments too.

    values: by key such as `tank.limit_C`; None takes the key out
    seen:   the content these changes were made on; another one meanwhile is refused
    The content before is kept in the folder `earlier` beside it. Raises ProfileError, and then nothing has changed.
    """
    with _TURN:
        file = find(folder, furnace)
        if file.seen != seen:
            raise ProfileError(f"{file.path} has been changed meanwhile; look at it again, and then change it")
        text = _changed(file, furnace, values)
        profile = parse(text, str(file.path))
        if profile.furnace.id != furnace:
            raise ProfileError(f"{file.path} is not the profile of {furnace}")
        try:
            _write(file, text, now_ms)
        except OSError as error:
            raise ProfileError(f"{file.path} cannot be written: {error.strerror}; nothing was changed") from None
    return profile


def _changed(file: ProfileFile, furnace: str, values: Mapping[str, float | str | date | None]) -> str:
    try:
        document = tomlkit.parse(file.text)
    except TOMLKitError as error:
        raise ProfileError(f"{file.path}: not TOML: {error}") from None
    if not file.text:
        document["furnace"] = {"id": furnace}
    for key, value in values.items():
        section, _, name = key.partition(".")
        if value is None:
            if section in document:
                document[section].pop(name, None)
            continue
        if section not in document:
            document[section] = tomlkit.table()
        document[section][name] = value
    return tomlkit.dumps(document)


def _write(file: ProfileFile, text: str, now_ms: int) -> None:
    """The old content to a name of its own first, then the new one into its place in one step."""
    if file.text:
        stamp = f"{datetime.fromtimestamp(now_ms / 1000, UTC):%Y%m%dT%H%M%S}.{now_ms % 1000:03d}Z"
        write_whole(file.path.parent / EARLIER / f"{file.path.stem}-{stamp}.toml", file.text)
    write_whole(file.path, text)


def _seen(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def _lines(text: str) -> dict[str, int]:
    """The line of each `[section]` key: a plain search, for people to find it."""
    lines: dict[str, int] = {}
    section = ""
    for number, line in enumerate(text.splitlines(), 1):
        words = line.strip()
        if words.startswith("["):
            section = words.strip("[] ").partition("]")[0].strip()
        elif "=" in words and not words.startswith("#"):
            lines.setdefault(f"{section}.{words.partition('=')[0].strip()}", number)
    return lines


def default(furnace: str) -> Profile:
    """The profile of a furnace of which nothing is known yet."""
    return Profile(Furnace(furnace))


def for_furnace(profile: Profile, furnace: str) -> Profile:
    """The same profile under another furnace id."""
    return replace(profile, furnace=replace(profile.furnace, id=furnace))
