"""NOR flash as littlefs sees it: bits are programmed to 0, blocks erased to 1; counts, and loses power on command."""

import vfs


class PowerCut(Exception):
    pass


class Flash:
    BLOCK = 4096

    def __init__(self, memory):
        self.memory = memory
        self.erases = 0
        self.programs = 0
        self.left = -1  # operations until the power goes; -1: never
        self.torn_percent = 0
        self.dead = False

    def _operation(self, start, data):
        """Apply `data` at `start`, or a torn part of it when the power goes."""
        if self.dead:
            raise OSError(5)
        size = len(data)
        if self.left == 0:
            self.dead = True
            size = size * self.torn_percent // 100
        self.memory[start : start + size] = data[:size]
        if self.dead:
            raise PowerCut
        if self.left > 0:
            self.left -= 1

    def readblocks(self, block, buf, offset=0):
        if self.dead:
            raise OSError(5)
        start = block * self.BLOCK + offset
        buf[:] = memoryview(self.memory)[start : start + len(buf)]

    def writeblocks(self, block, buf, offset=0):
        if self.dead:
            raise OSError(5)
        start = block * self.BLOCK + offset
        if self.memory[start : start + len(buf)] != ERASED[: len(buf)]:
            raise AssertionError("programmed twice")
        self.programs += 1
        self._operation(start, bytes(buf))

    def ioctl(self, op, arg):
        if op == 4:
            return len(self.memory) // self.BLOCK
        if op == 5:
            return self.BLOCK
        if op == 6:
            self.erases += 1
            self._operation(arg * self.BLOCK, ERASED)
        return 0


ERASED = b"\xff" * Flash.BLOCK


def blank(blocks):
    memory = bytearray(blocks * Flash.BLOCK)
    for i in range(blocks):
        memory[i * Flash.BLOCK : (i + 1) * Flash.BLOCK] = ERASED
    vfs.VfsLfs2.mkfs(Flash(memory))
    return memory


_mounted = []


def mount(memory):
    """A fresh power-up: mount what is in `memory` at /data; returns the device."""
    if _mounted:
        vfs.umount("/data")
        _mounted.clear()
    device = Flash(memory)
    vfs.mount(vfs.VfsLfs2(device), "/data")
    _mounted.append(device)
    return device
