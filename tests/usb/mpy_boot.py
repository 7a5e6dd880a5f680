"""What the port does before main.py: the file system from its image becomes the root, the fake parts are at hand."""

import os
import sys

import vfs

BLOCK = 4096


class Image:
    """A file of the computer as flash memory."""

    def __init__(self, path, blocks):
        try:
            os.stat(path)
        except OSError:
            with open(path, "wb") as f:
                for _ in range(blocks):
                    f.write(b"\xff" * BLOCK)
        self.file = open(path, "r+b")  # noqa: SIM115  (as long as the board runs)
        self.blocks = blocks

    def readblocks(self, block, buf, offset=0):
        self.file.seek(block * BLOCK + offset)
        self.file.readinto(buf)

    def writeblocks(self, block, buf, offset=0):
        self.file.seek(block * BLOCK + offset)
        self.file.write(buf)

    def ioctl(self, op, arg):
        if op == 4:
            return self.blocks
        if op == 5:
            return BLOCK
        if op == 6:
            self.file.seek(arg * BLOCK)
            self.file.write(b"\xff" * BLOCK)
        return 0


def start():
    device = Image(os.getenv("BOARD_IMAGE"), int(os.getenv("BOARD_BLOCKS")))
    computer, bench = os.getenv("BOARD_FOLDER"), os.getenv("BOARD_BENCH")
    vfs.umount("/")
    try:
        system = vfs.VfsLfs2(device)
    except OSError:
        vfs.VfsLfs2.mkfs(device)
        system = vfs.VfsLfs2(device)
    vfs.mount(system, "/")
    vfs.mount(vfs.VfsPosix(computer), "/computer")
    vfs.mount(vfs.VfsPosix(bench), "/bench")
    os.chdir("/")
    sys.path[:] = ["", ".frozen", "/bench", "/lib"]


start()
import machine  # noqa: E402


def _reset():
    with open("/computer/reset", "w"):
        pass
    sys.exit()


machine.reset = _reset

if os.getenv("BOARD_MAIN"):
    try:
        with open("main.py") as _f:
            _program = _f.read()
    except OSError:
        _program = ""
    exec(_program, {"__name__": "__main__"})
