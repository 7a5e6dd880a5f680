"""Profile files."""

from pathlib import Path

import pytest

from sootline.errors import ProfileError
from sootline.files import profiles


def test_a_folder_of_profiles_is_read_by_furnace(tmp_path: Path) -> None:
    (tmp_path / "shed.toml").write_text('[furnace]\nid = "engine-shed"\n[refill]\nlimit_s = 20\n')
    (tmp_path / "notes.txt").write_text("no profile")
    found = profiles.load_folder(tmp_path)
    assert list(found) == ["engine-shed"] and found["engine-shed"].refill.limit_s == 20.0
    assert profiles.load_folder(tmp_path / "none") == {}


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ('[furnace]\nid = "a"\n[refil]\n', "nearest known one is 'refill'"),
        ('[furnace]\nid = "a"\n[refill]\nlimit = 20\n', "nearest known one is 'refill.limit_s'"),
        ('[furnace]\nid = "a"\n[refill]\nlimit_s = -3\n', "must lie between"),
        ('[furnace]\nid = "A B"\n', "must be 1 to 32 of"),
        ("furnace", "not TOML"),
    ],
)
def test_a_profile_that_cannot_be_used_is_one_line_with_its_file(tmp_path: Path, text: str, word: str) -> None:
    path = tmp_path / "a.toml"
    path.write_text(text)
    with pytest.raises(ProfileError, match=word) as caught:
        profiles.load(path)
    assert str(caught.value).startswith(str(path)) and "\n" not in str(caught.value)


def test_missing_unreadable_and_double_profiles_are_one_line(tmp_path: Path) -> None:
    with pytest.raises(ProfileError, match="No such file"):
        profiles.load(tmp_path / "none.toml")
    (tmp_path / "a.toml").write_bytes(b"\xff")
    with pytest.raises(ProfileError, match="UTF-8"):
        profiles.load(tmp_path / "a.toml")
    for name in ("a.toml", "b.toml"):
        (tmp_path / name).write_text('[furnace]\nid = "a"\n')
    with pytest.raises(ProfileError, match="keep one"):
        profiles.load_folder(tmp_path)
