"""Takes a new version of the board code in blocks, into the slot that does not run; the host sends, README "Slots" says
what a slot and its manifest look like.

Only a release signed by the owner is kept; each file is checked before it gets its name. Cut off at any moment, the
slot is not whole, and the next `begin` with the same manifest goes on after the last whole file.
"""

import asyncio
import binascii
import hashlib
import os

from micropython import const

from . import channels, forget, slots
from .steps import hash_of, last

_MANIFEST_BYTES = const(16384)
_HOT = const(12000)  # 0.01 degC: a stack above this has a fire below it, or had one just now
_QUIET_MS = const(600000)  # so long a start is put off while the furnace fires


def _is_on(sampler, name):
    """Whether a contact is on; None where it is not fitted or not known yet."""
    bit = 1 << channels.SWITCHED.index(name)
    if not sampler.contact_mask & bit or sampler.states is None:
        return None
    return bool(sampler.states & bit)


def busy(sampler, vouched):
    """Why this is no moment for an update, or None. `vouched`: the owner says that the burner is off."""
    seen = [_is_on(sampler, "burner"), _is_on(sampler, "flame")]
    stack = sampler.values.get(channels.numeric("stack"))
    if True in seen or (stack is not None and stack > _HOT):
        return "firing"
    if _is_on(sampler, "pump"):
        return "refilling"
    if seen == [None, None] and stack is None and not vouched:
        return "cannot tell whether the furnace fires"
    return None


def _remove_tree(path):
    """Delete what is in the folder `path`; it may be missing."""
    try:
        names = os.listdir(path)
    except OSError:
        return
    for name in names:
        name = path + "/" + name
        if os.stat(name)[0] & 0x4000:
            _remove_tree(name)
            os.rmdir(name)
        else:
            os.remove(name)


def _make_folder(path):
    try:
        os.mkdir(path)
    except OSError:
        pass  # it is there


class Update:
    """One update, from `begin` to the start of the new version. `key` is the owner's public key, 32 bytes."""

    def __init__(self, app, key):
        self._app = app
        self._key = key
        self._slot = slots.other()
        self._name = None  # of the file wanted, within the slot; None: nothing is
        self._size = 0
        self._hash = ""
        self._file = None
        self._at = 0
        self._digest = None
        self._line_at = 0  # of the manifest's next line
        self._complete = False
        self._starting = False
        self._task = None
        self._taken_ms = app.clock.uptime_ms()

    def idle(self):
        """Whether the host seems to have given up."""
        return not self._starting and self._app.clock.uptime_ms() - self._taken_ms > _QUIET_MS

    async def take(self, command):
        """Carry out one step; returns `(error or None, [file, position] wanted next or None)`."""
        self._taken_ms = self._app.clock.uptime_ms()
        if self._starting:
            return "the new version is about to be started", None
        try:
            error = self._refusal(command)
            if error is None:
                if "begin" in command:
                    error = await self._begin(command["begin"], command["size"])
                elif "start" in command:
                    error = self._start(command)
                else:
                    error = await self._block(command)
        except (KeyError, TypeError, ValueError, IndexError) as e:
            error = "not understood: %s" % e
        except OSError as e:
            self._drop()
            error = "the file system refuses: %s" % e
        return error, [self._name, self._at] if self._name else None

    def _refusal(self, command):
        if not slots.running():
            return "no slots on this board: install over USB first"
        if slots.on_trial():
            return "the version that runs is itself on trial"
        if self._key is None:
            return "no update_key in the settings of this board"
        return busy(self._app.sampler, command.get("off") is True)

    # -- taking

    def _path(self, name):
        return self._slot + "/" + name

    async def _begin(self, hash_, size):
        if not isinstance(hash_, str) or len(hash_) != 64 or not 0 < size <= _MANIFEST_BYTES:
            return "not a manifest"
        self._drop()
        self._complete = False
        new = self._path("manifest.new")
        # Never is a slot called whole while it is being changed.
        try:
            os.rename(self._path("manifest"), new)
        except OSError:
            pass
        if await last(hash_of(new)) == hash_:
            return await self._check_manifest()
        _remove_tree(self._slot)
        _make_folder(self._slot)
        self._want("manifest", size, hash_)
        return None

    def _want(self, name, size, hash_):
        self._name, self._size, self._hash = name, size, hash_
        self._at = 0
        self._digest = hashlib.sha256()

    def _drop(self):
        """Forget the file that is being taken."""
        if self._file:
            self._file.close()
            self._file = None
        self._name = None

    async def _block(self, command):
        if self._name is None:
            return "nothing is wanted: begin first"
        if command["file"] != self._name or command["at"] != self._at:
            return None  # a repeat; what is wanted is told
        data = binascii.a2b_base64(command["data"])
        if not data or self._at + len(data) > self._size:
            return "more than was announced"
        if self._file is None:
            self._file = open(self._path("part.new"), "wb")  # noqa: SIM115
        self._file.write(data)
        self._digest.update(data)
        self._at += len(data)
        return await self._finish() if self._at == self._size else None

    async def _finish(self):
        name = self._name
        self._drop()
        if binascii.hexlify(self._digest.digest()).decode() != self._hash:
            self._want(name, self._size, self._hash)
            return "damaged on the way: %s" % name
        if name == "manifest":
            os.rename(self._path("part.new"), self._path("manifest.new"))
            return await self._check_manifest()
        at = name.find("/")
        while at > 0:
            _make_folder(self._path(name[:at]))
            at = name.find("/", at + 1)
        os.rename(self._path("part.new"), self._path(name))
        await self._next_file()
        return None

    # -- the manifest

    async def _check_manifest(self):
        """Find out whether the manifest may be trusted and fits this board; if so the first missing file is wanted."""
        from . import manifest

        path = self._path("manifest.new")
        error = await manifest.unsigned(path, self._key) or manifest.unfit(path)
        del manifest
        forget("manifest")
        if error is None:
            self._line_at = 0
            await self._next_file()
            return None
        os.remove(path)
        return error

    async def _next_file(self):
        """Want the next file that is not there as it should be; behind the last one the slot is whole."""
        with open(self._path("manifest.new")) as f:
            f.seek(self._line_at)
            while True:
                line = f.readline()
                if not line:
                    break
                self._line_at += len(line)
                words = line.split()
                if words[0] == "file" and await last(hash_of(self._path(words[3]))) != words[2]:
                    self._want(words[3], int(words[1]), words[2])
                    return
        os.rename(self._path("manifest.new"), self._path("manifest"))
        self._complete = True

    # -- starting

    def _start(self, command):
        if not self._complete:
            return "not complete yet"
        self._starting = True
        self._task = asyncio.create_task(self._start_when_quiet(command.get("off") is True))
        return None

    async def _start_when_quiet(self, vouched):
        """Once the answer is out and what was read is sent; not in a firing, which may begin meanwhile."""
        begun_ms = self._app.clock.uptime_ms()
        await asyncio.sleep_ms(2000)
        while self._app.clock.uptime_ms() - begun_ms < _QUIET_MS:
            if busy(self._app.sampler, vouched) is None:
                try:
                    slots.stage()
                except OSError as e:
                    self._app.faults.record("update", e, "")
                    break
                self._app.outbox.offline()  # what is not acknowledged goes where it outlives the start
                self._app.reset("update")
            await asyncio.sleep_ms(1000)
        self._starting = False


async def carry_out(app, command):
    """One step of an update; the object that takes it lives from `begin` on."""
    if "begin" in command or app.update is None:
        app.update = Update(app, app.update_key)
    return await app.update.take(command)
