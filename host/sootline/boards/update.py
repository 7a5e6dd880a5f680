"""Update of a board over the air: the release goes to it in blocks, then it tries the new version by itself.

The board decides each step (firmware/sootboard/update.py); what is asked here again is that the furnace does not fire.
"""

import base64
import hashlib
import time
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from sootline.boards.release import Release
from sootline.boards.remote import Remote
from sootline.errors import UserError
from sootline.series import Rows

BLOCK = 512  # bytes; with their frame they fit the board's smallest buffer
HOT_STACK_C = 120.0  # above this a fire burns below, or did just now; the board judges the same
_HEARD_S = 10.0
_READING_S = 150.0
_ANSWER_S = 30.0
_SILENCES = 20  # unanswered commands in a row
_PAUSE_S = 5.0
_PAUSED_S = {"firing": 3600.0, "refilling": 3600.0, "cannot tell whether the furnace fires": 60.0}
_TRIAL_S = 20 * 60.0


def update(remote: Remote, release: Release, say: Callable[[str], None], *, burner_off: bool = False) -> None:
    """Bring `release` to the board and wait until it has shown that it works. Raises UserError where it did not.

    burner_off: the owner has looked; counts only where no reading tells
    """
    before = _board(remote)
    _refuse_fire(remote, burner_off)
    say(f"{remote.furnace}: the board runs {before.get('firmware')}; sending {release.version}, {release.size} bytes")
    _send(remote, release, say, {"off": True} if burner_off else {})
    before = remote.announced or before  # it may have started anew on the way
    answer = _ask(remote, {"start": True, "off": burner_off}, say)
    if answer.get("error"):
        raise _refused(remote, answer)
    say("everything is there and checked; the board starts the new version as soon as the furnace is quiet")
    _await_trial(remote, before, release, say)


def _board(remote: Remote) -> Mapping[str, Any]:
    end = time.monotonic() + _HEARD_S
    while remote.announced is None and time.monotonic() < end:
        remote.listen(0.2)
    board = remote.announced
    if board is None:
        raise UserError(f"no board of '{remote.furnace}' is known to the broker; check the name")
    if not board.get("online"):
        raise UserError(f"the board of '{remote.furnace}' is offline; try again when it is back")
    return board


def firing(rows: Rows) -> str | None:
    """What in the last rows says that the furnace fires, in words; None where nothing does."""
    for channel in ("burner", "flame"):
        if _last(rows, channel) == 1.0:
            return f"{channel} is on"
    stack_C = _last(rows, "stack")
    if stack_C > HOT_STACK_C:
        return f"the stack is at {stack_C:.0f} °C"
    return None


def _last(rows: Rows, channel: str) -> float:
    values = rows.values.get(channel)
    if values is None:
        return float("nan")
    good = values[~np.isnan(values)]
    return float(good[-1]) if good.size else float("nan")


def _refuse_fire(remote: Remote, burner_off: bool) -> None:
    end = time.monotonic() + (_HEARD_S if burner_off else _READING_S)
    while remote.pack is None and time.monotonic() < end:
        remote.listen(0.2)
    if remote.pack is None:
        if burner_off:
            return
        raise UserError(
            f"no reading of '{remote.furnace}' came, so nothing tells whether it fires; go and look, then say so with "
            "--burner-is-off"
        )
    seen = firing(remote.pack.rows)
    if seen:
        raise UserError(f"'{remote.furnace}' fires ({seen}); update it when it is off and has cooled down")


def _send(remote: Remote, release: Release, say: Callable[[str], None], off: Mapping[str, Any]) -> None:
    begin = {"begin": hashlib.sha256(release.manifest).hexdigest(), "size": len(release.manifest), **off}
    answer = _ask(remote, begin, say)
    names = ["manifest", *release.files]
    sizes = [len(release.manifest), *map(len, release.files.values())]
    told = 0
    while True:
        if answer.get("error"):
            raise _refused(remote, answer)
        wanted = answer.get("next")
        if wanted is None:
            return
        name, at = wanted
        if name not in names:
            raise UserError(f"the board wants {name}, which is not in the release")
        i = names.index(name)
        tenth = (sum(sizes[:i]) + at) * 10 // sum(sizes)
        if tenth > told:
            told = tenth
            say(f"{tenth * 10} %")
        data = (release.manifest if name == "manifest" else release.files[name])[at : at + BLOCK]
        block = {"file": name, "at": at, "data": base64.b64encode(data).decode(), **off}
        answer = _ask(remote, block, say, begin)


def _ask(
    remote: Remote, step: Mapping[str, Any], say: Callable[[str], None], begin: Mapping[str, Any] | None = None
) -> Mapping[str, Any]:
    """The board's answer to one step; silence, a firing or a refill meanwhile are waited out.

    begin: what to say instead once the board has fallen silent, since it may have started anew
    """
    silences, paused_s = 0, 0.0
    while True:
        answer = remote.ask({"do": "update", **step}, _ANSWER_S)
        if answer is None:
            silences += 1
            if silences >= _SILENCES:
                raise UserError(f"the board of '{remote.furnace}' does not answer; the same command goes on later")
            if silences == 1:
                say("no answer; trying on")
            step = begin or step
        elif paused_s < _PAUSED_S.get(str(answer.get("error")), 0.0):
            if not paused_s:
                say(f"waiting: {answer['error']}")
            paused_s += _PAUSE_S
            time.sleep(_PAUSE_S)
        elif str(answer.get("error")).startswith("nothing is wanted") and begin is not None:
            step = begin
        else:
            return answer


def _refused(remote: Remote, answer: Mapping[str, Any]) -> UserError:
    hints = {
        "firing": "the same command goes on later",
        "refilling": "the same command goes on later",
        "cannot tell": "go and look, then say so with --burner-is-off",
        "version ": "give --older to go back to it",
        "no update_key": "give it one over USB: sootline board configure",
        "the signature": "it knows another key; give it this one over USB: sootline board configure",
    }
    error = str(answer.get("error"))
    hint = next((hint for start, hint in hints.items() if error.startswith(start)), None)
    return UserError(f"the board of '{remote.furnace}' refuses: {error}{'; ' + hint if hint else ''}")


def _await_trial(remote: Remote, before: Mapping[str, Any], release: Release, say: Callable[[str], None]) -> None:
    """Until the new version runs for good, or the old one is back."""
    end = time.monotonic() + _TRIAL_S
    told = False
    while time.monotonic() < end:
        remote.listen(0.5)
        board = remote.announced or {}
        if not board.get("online") or board.get("boot") == before.get("boot"):
            continue
        if board.get("slot") == before.get("slot"):
            faults = "; ".join(map(str, board.get("faults", ()))) or "none"
            raise UserError(
                f"the new version did not show that it works; the board of '{remote.furnace}' has gone back to "
                f"{board.get('firmware')} and runs; its faults: {faults}"
            )
        if not board.get("trial"):
            say(f"{remote.furnace}: the board runs {release.version}")
            return
        if not told:
            told = True
            say("the new version has started and is on trial")
    raise UserError(
        f"the board of '{remote.furnace}' has not been heard with a version that stays; by itself it goes back to the "
        "one before; look whether it is online"
    )
