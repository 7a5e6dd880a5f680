"""A visit of the pages in the real browser, and what every page must hold there."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from tests.web.workshop import SIZES


@contextmanager
def opened(browser: Browser, url: str, size: str = "desk", theme: str = "light", **options: Any) -> Iterator[Page]:
    """A page that must not complain, nor ask anybody but us."""
    complaints: list[str] = []
    context = browser.new_context(viewport=SIZES[size], color_scheme=theme, **options)  # type: ignore[arg-type]
    page = context.new_page()
    page.on(
        "console", lambda message: complaints.append(message.text) if message.type in ("error", "warning") else None
    )
    page.on("pageerror", lambda error: complaints.append(str(error)))
    ours = "/".join(url.split("/")[:3]) + "/"
    page.on("request", lambda request: None if request.url.startswith(ours) else complaints.append(request.url))
    page.goto(url)
    yield page
    assert complaints == []
    context.close()


def sound(page: Page) -> None:
    """Nothing reaches over the edge of the screen, and nothing keeps a screen reader out.

    Measured when the page with its style sheet has come: before, every page is wide.
    """
    page.wait_for_load_state()
    wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert wide <= 0, f"{page.url} reaches {wide} px over the edge"
    found = Axe().run(page).response["violations"]
    assert [(page.url, v["id"], v["nodes"]) for v in found if v["impact"] in ("serious", "critical")] == []
