"""Profile files: one TOML file a furnace."""

from dataclasses import replace
from pathlib import Path

from sootline.errors import ProfileError
from sootline.profile import Furnace, Profile, parse


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


def default(furnace: str) -> Profile:
    """The profile of a furnace of which nothing is known yet."""
    return Profile(Furnace(furnace))


def for_furnace(profile: Profile, furnace: str) -> Profile:
    """The same profile under another furnace id."""
    return replace(profile, furnace=replace(profile.furnace, id=furnace))
