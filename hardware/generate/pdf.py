"""The whole folder as one PDF: README, tables, drawings, commissioning sheet, printed by headless Chromium."""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from pathlib import Path

from markdown_it import MarkdownIt

from hardware.generate.load import FOLDER

PDF = FOLDER / "build" / "sensor-board.pdf"
CHAPTERS = ("out/senses.md", "out/wiring.md", "out/labels.md", "out/parts.md", "out/stages.md", "out/budgets.md")
SHEET = "out/commissioning-sheet.md"
CHROMIUM = ("chromium", "chromium-browser", "google-chrome")
STYLE = """
@page { size: A4; margin: 16mm 14mm }
body { font: 10pt/1.4 "DejaVu Sans", sans-serif; color: #111 }
h1 { font-size: 18pt; break-before: page; border-bottom: 1px solid #999 }
body > h1:first-child { break-before: auto }
h2 { font-size: 13pt; margin: 1.2em 0 .4em; break-after: avoid }
h3 { font-size: 11pt; break-after: avoid }
table { border-collapse: collapse; width: 100%; font-size: 7.5pt; margin: .6em 0 }
th, td { border: 1px solid #999; padding: 2px 4px; text-align: left; vertical-align: top; overflow-wrap: break-word }
th { background: #eee }
tr, img, pre { break-inside: avoid }
img { max-width: 100%; max-height: 105mm; display: block; margin: .5em auto }
code { font-size: 90%; overflow-wrap: anywhere }
blockquote { border-left: 4px solid #b22; margin: .6em 0; padding: .1em .8em; background: #fdf3f3 }
.sheet td { height: 1.7em }
.sheet th:nth-last-child(-n+2) { min-width: 14mm }
.sheet h2 { margin-top: 1.6em }
.sheet section { break-inside: avoid }
"""


def book_html() -> str:
    """One HTML page; picture paths are relative to the hardware folder."""
    markdown = MarkdownIt("commonmark").enable("table")
    chapters = [markdown.render((FOLDER / "README.md").read_text(encoding="utf-8"))]
    chapters += [_chapter(markdown, name) for name in CHAPTERS]
    head, *steps = (FOLDER / SHEET).read_text(encoding="utf-8").split("\n## ")
    sections = "".join(f"<section>{markdown.render('## ' + step)}</section>" for step in steps)
    sheet = f'<div class="sheet">{markdown.render(head)}{sections}</div>'
    body = "\n".join([*chapters, sheet])
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Sensor board</title>'
        f'<base href="{FOLDER.as_uri()}/"><style>{STYLE}</style></head><body>{body}</body></html>\n'
    )


def _chapter(markdown: MarkdownIt, name: str) -> str:
    """A chapter's pictures are named from its own folder; the book's from the hardware folder."""
    html = str(markdown.render((FOLDER / name).read_text(encoding="utf-8")))
    return html.replace('src="', f'src="{Path(name).parent}/')


def build_pdf(target: Path = PDF) -> Path:
    """Print the book. Raises FileNotFoundError without Chromium, RuntimeError if it prints nothing."""
    browser = next((path for name in CHROMIUM if (path := shutil.which(name))), None)
    if browser is None:
        raise FileNotFoundError("Chromium is missing: apt-get install chromium")
    target.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as scratch:
        page = Path(scratch, "book.html")
        page.write_text(book_html(), encoding="utf-8")
        command = [browser, "--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={scratch}/profile"]
        command += ["--no-pdf-header-footer", f"--print-to-pdf={target}", page.as_uri()]
        done = subprocess.run(command, capture_output=True, text=True, timeout=120)
    if done.returncode or not target.exists():
        raise RuntimeError(f"Chromium printed nothing: {done.stderr.strip()}")
    return target
