"""Templates, styles and scripts: found beside the package, and the chart library in its own package."""

import hashlib
import importlib.util
from dataclasses import dataclass
from pathlib import Path

from sootline.errors import UserError
from sootline.files.dashboards import dashboards_folder

_TYPES = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".webmanifest": "application/manifest+json",
}
CHART_FILES = ("uplot.iife.min.js", "uplot.min.css")


@dataclass(frozen=True, slots=True)
class Asset:
    body: bytes
    content_type: str
    fingerprint: str


def chart_folder() -> Path:
    """The folder of the chart library's two files, read as data from the package that carries them."""
    spec = importlib.util.find_spec("youplot")
    for place in (spec.submodule_search_locations or []) if spec else []:
        folder = Path(place) / "vendor"
        if all((folder / name).is_file() for name in CHART_FILES):
            return folder
    raise UserError("the chart library is missing or has changed; install it again with: pip install youplot==1.0.0")


class Assets:
    """All static files in memory, each under an address that changes with its content."""

    def __init__(self) -> None:
        self.templates = dashboards_folder() / "templates"
        files = sorted(path for path in (dashboards_folder() / "static").iterdir() if path.suffix in _TYPES)
        files += [chart_folder() / name for name in CHART_FILES]
        self._assets = {path.name: _load(path) for path in files}

    def url(self, name: str) -> str:
        """The address of a static file."""
        return f"/static/{self._assets[name].fingerprint}/{name}"

    def read(self, name: str) -> str:
        """The text of a static file."""
        return self._assets[name].body.decode()

    def get(self, fingerprint: str, name: str) -> Asset | None:
        asset = self._assets.get(name)
        return asset if asset is not None and asset.fingerprint == fingerprint else None


def _load(path: Path) -> Asset:
    body = path.read_bytes()
    return Asset(body, _TYPES[path.suffix], hashlib.sha256(body).hexdigest()[:12])
