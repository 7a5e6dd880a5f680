"""Recordings on disk."""

import gzip
import json
from pathlib import Path

import pytest
import zstandard

from sootline.errors import UserError
from sootline.files.recordings import Recorder, Recordings, is_recording, line, parse_line
from sootline.wire.message import Message

LINES = [
    b'{"at":1767603600.25,"topic":"sootline/a/measurements","payload":[{"n":"a/tank","v":60.0}]}\n',
    b'{"at":1767603605,"topic":"sootline/a/board","payload":{"online":false}}\n',
    b'{"at":1767603610,"topic":"sootline/a/measurements","payload":[]}\n',
]


def _write(path: Path, lines: list[bytes]) -> Path:
    text = b"".join(lines)
    if path.suffix == ".gz":
        text = gzip.compress(text)
    elif path.suffix == ".zst":
        text = zstandard.compress(text)
    path.write_bytes(text)
    return path


@pytest.mark.parametrize("name", ["a.ndjson", "a.ndjson.gz", "a.ndjson.zst", "a.jsonl"])
def test_a_line_is_a_message_whatever_the_compression(tmp_path: Path, name: str) -> None:
    messages = list(Recordings([_write(tmp_path / name, LINES)]))
    assert is_recording(tmp_path / name)
    assert [m.received_ms for m in messages] == [1_767_603_600_250, 1_767_603_605_000, 1_767_603_610_000]
    assert json.loads(messages[0].payload) == [{"n": "a/tank", "v": 60.0}]
    assert messages[1] == Message(1_767_603_605_000, "sootline/a/board", b'{"online":false}')


def test_lines_out_of_order_and_several_files_come_in_order_of_receipt(tmp_path: Path) -> None:
    first = _write(tmp_path / "1.ndjson", [LINES[2], LINES[0]])
    second = _write(tmp_path / "2.ndjson.zst", [LINES[1]])
    receipts = [m.received_ms for m in Recordings([first, second])]
    assert receipts == [1_767_603_600_250, 1_767_603_605_000, 1_767_603_610_000]


def test_lines_that_hold_no_message_are_counted(tmp_path: Path) -> None:
    bad = [b"{\n", b'{"at":1}\n', b'{"at":"now","topic":"t","payload":1}\n', b"\xff\n", b"\n"]
    recordings = Recordings([_write(tmp_path / "a.ndjson", [*bad, *LINES])])
    assert len(list(recordings)) == 3
    assert recordings.unusable == 4


@pytest.mark.parametrize("suffix", [".gz", ".zst"])
def test_a_recording_cut_off_in_the_middle_gives_what_came_before(tmp_path: Path, suffix: str) -> None:
    path = _write(tmp_path / f"a.ndjson{suffix}", [LINES[0].replace(b"60.0", str(i).encode()) for i in range(20_000)])
    whole = len(list(Recordings([path])))
    path.write_bytes(path.read_bytes()[:-100])
    kept = len(list(Recordings([path])))
    assert 0 < kept < whole


@pytest.mark.parametrize("name", ["none.ndjson", "none.ndjson.gz", "none.ndjson.zst"])
def test_a_missing_file_is_one_clear_line(tmp_path: Path, name: str) -> None:
    with pytest.raises(UserError, match=r"none\.ndjson.*: cannot be read: No such file"):
        list(Recordings([tmp_path / name]))


@pytest.mark.parametrize("name", ["a.ndjson.gz", "a.ndjson.zst"])
def test_a_file_that_is_not_what_its_name_says_is_one_clear_line(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(b"plain text")
    with pytest.raises(UserError, match="cannot be read"):
        list(Recordings([tmp_path / name]))


@pytest.mark.parametrize("payload", [b'{"a":\n 1}', b"not json", b"\xff\x00", b"[" * 5000, b""])
def test_any_payload_survives_as_one_line(payload: bytes) -> None:
    text = line(Message(1_767_603_600_001, "sootline/a/measurements", payload, retained=True))
    assert text.count(b"\n") == 1 and text.endswith(b"\n")
    again = parse_line(text)
    assert again is not None
    assert (again.received_ms, again.retained) == (1_767_603_600_001, True)
    assert {"at", "topic", "payload"} <= set(json.loads(text))


def test_a_recorder_starts_a_file_a_day_and_never_overwrites(tmp_path: Path) -> None:
    day_ms = 86_400_000
    for _ in range(2):  # the second recorder is a restart within the same second
        recorder = Recorder(tmp_path / "made")
        for at_ms in (0, 5000, day_ms):
            recorder.write(Message(1_767_571_200_000 + at_ms, "sootline/a/board", b'{"online":true}'))
        recorder.flush()
    names = sorted(path.name for path in (tmp_path / "made").iterdir())
    assert names == [
        "2026-01-05T000000Z-1.ndjson.zst",
        "2026-01-05T000000Z.ndjson.zst",
        "2026-01-06T000000Z-1.ndjson.zst",
        "2026-01-06T000000Z.ndjson.zst",
    ]
    assert len(list(Recordings([tmp_path / "made" / name for name in names]))) == 6


def test_what_was_flushed_is_there_when_the_recorder_is_killed(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path)
    message = Message(1_767_571_200_000, "sootline/a/board", b'{"online":true}')
    recorder.write(message)
    recorder.flush()
    recorder.write(message)
    recorder.flush()
    recorder.write(message)  # never flushed
    [path] = tmp_path.iterdir()
    assert list(Recordings([path])) == [message, message]


def test_a_folder_that_cannot_be_made_is_one_clear_line(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(UserError, match="cannot be written"):
        Recorder(tmp_path / "file" / "below")
