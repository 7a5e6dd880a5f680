"""The data file system, apart from the code's."""

import os

from micropython import const

_LABEL = const("sootdata")  # partition on the ESP32
_MOUNT = const("/data")


def _partition():
    """Block device for the data of this board, or None if it has none apart from the code's."""
    try:
        import esp32
    except ImportError:
        return None
    found = esp32.Partition.find(esp32.Partition.TYPE_DATA, label=_LABEL)
    return found[0] if found else None


def mount(device):
    """Mount the data file system, making a new one where there is none. True if it had to be made."""
    import vfs

    made = False
    try:
        system = vfs.VfsLfs2(device)
    except OSError:
        vfs.VfsLfs2.mkfs(device)
        system = vfs.VfsLfs2(device)
        made = True
    vfs.mount(system, _MOUNT)
    return made


def directory(setting):
    """Where data goes: a directory named in the settings, else the data partition; None: memory only."""
    if setting:
        try:
            os.mkdir(setting)
        except OSError:
            pass  # it is there
        return setting
    device = _partition()
    if device is None:
        return None
    mount(device)
    return _MOUNT
