"""Papers as HTML that stands alone, and as PDF for A4. Nothing is fetched from anywhere."""

import hashlib
import json
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import jinja2
import msgspec

from sootline import __version__
from sootline.advice.digest import Manifest
from sootline.errors import UserError
from sootline.files.dashboards import dashboards_folder
from sootline.papers.words import CAUTION
from sootline.wording import CO_NOTICE, WATCHES_ONLY

NO_PDF = (
    "A PDF needs WeasyPrint: pip install 'sootline[pdf]', and the Debian packages libpango-1.0-0, libpangoft2-1.0-0 "
    "and libharfbuzz-subset0. The HTML prints as well."
)
DIGESTS_ID = "digests"
_BEGIN, _END = f'<script type="application/json" id="{DIGESTS_ID}">', "</script>"
_turn = threading.Lock()  # one PDF at a time: its fonts are shared, and it takes memory


@dataclass(frozen=True, slots=True)
class Paper:
    """What a template is filled with. kind: `season`, `cleaning` or `inspection`; digests: to hold it against"""

    kind: str
    title: str
    made: str
    view: Any
    digests: Manifest


class Press:
    """Reads the templates once. Thread-safe."""

    def __init__(self) -> None:
        folder = dashboards_folder()
        self._style = (folder / "static" / "paper.css").read_text(encoding="utf-8")
        self._templates = jinja2.Environment(
            loader=jinja2.FileSystemLoader(folder / "templates"),
            autoescape=True,
            undefined=jinja2.StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
            auto_reload=False,
        )

    def html(
        self, paper: Paper, style_url: str = "", icon_url: str = "", links: tuple[tuple[str, str], ...] = ()
    ) -> str:
        """The paper as one page of HTML.

        style_url: where its style is; without it the style is written into it, so that the file stands alone
        links: addresses and words of a line above it, for a page
        """
        return self._templates.get_template(f"paper-{paper.kind}.html").render(
            paper=paper, view=paper.view, style="" if style_url else self._style,
            style_url=style_url, icon_url=icon_url,
            links=links,
            caution=CAUTION, co_notice=CO_NOTICE, watches_only=WATCHES_ONLY, version=__version__,
            nothing=hashlib.sha256().hexdigest(),
            digests=msgspec.json.encode(paper.digests).decode().replace("<", "\\u003c"),
        )  # fmt: skip

    def pdf(self, paper: Paper) -> bytes:
        """The paper as PDF. Raises UserError where what makes it is missing."""
        try:
            from weasyprint import HTML
            from weasyprint.urls import URLFetcher
        except (ImportError, OSError):
            raise UserError(NO_PDF) from None
        with _turn:
            made: bytes = HTML(string=self.html(paper), url_fetcher=URLFetcher(allowed_protocols=())).write_pdf()
        return made


def digests_in(path: Path) -> Manifest:
    """The digests in a paper's HTML, or in a file of digests alone. Raises UserError that names the file."""
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise UserError(f"{path}: cannot be read: {getattr(error, 'strerror', None) or 'not a text file'}") from None
    if _BEGIN in text:
        text = text.partition(_BEGIN)[2].partition(_END)[0]
    try:
        return msgspec.convert(json.loads(text), Manifest)
    except (ValueError, msgspec.ValidationError):
        raise UserError(f"{path}: holds no digests; give the HTML or the .json of a report") from None
