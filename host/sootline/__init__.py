"""sootline: watches used-oil warm-air furnaces. It only monitors; nothing here can act on a burner."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sootline.frames import open as open

__version__ = "0.1.0"


def __getattr__(name: str) -> object:
    """`sootline.open(folder)` gives the store as pandas frames; pandas is loaded when it is first asked for."""
    if name != "open":
        raise AttributeError(f"module 'sootline' has no attribute '{name}'")
    try:
        from sootline.frames import open
    except ModuleNotFoundError as error:
        raise ImportError(f"sootline.open needs {error.name}: pip install 'sootline[frames]'") from None
    return open
