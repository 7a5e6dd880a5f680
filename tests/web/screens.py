"""Pictures of every page and state, to look at: `python -m tests.web.screens FOLDER [STATE...]`."""

import sys
import tempfile
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

from sootline.web.app import build
from sootline.web.server import Server
from tests.web.states import STATES
from tests.web.workshop import CHROMIUM, CHROMIUM_ARGS, NOW_MS, SIZES, Workshop, fill

PAGES = {
    "front": "/",
    "furnace": "/furnace/engine-shed",
    "season": "/furnace/engine-shed/season",
    "firings": "/furnace/engine-shed/firings",
    "refills": "/furnace/engine-shed/refills",
    "warm-ups": "/furnace/engine-shed/warm-ups",
    "sensors": "/furnace/engine-shed/sensors",
    "alarms": "/alarms",
    "figures": "/alarms/figures",
    "log": "/log",
    "labels": "/labels?base=http://192.168.1.20:8470",
    "faults": "/furnace/engine-shed/fault",
    "fault": "/furnace/engine-shed/fault?alarm=lockout",
    "set-aside": "/set-aside",
    "settings": "/settings",
    "analysis": "/settings/analysis",
    "profile": "/furnace/engine-shed/profile",
    "sign-in": "/sign-in",
}
FIRST = ("front", "furnace")


def shoot(browser: Browser, url: str, folder: Path, state: str) -> None:
    for name, path in PAGES.items():
        if (name not in FIRST and state != "trouble") or (name == "furnace" and state in ("empty", "twelve")):
            continue
        for size, viewport in SIZES.items():
            for theme in ("light", "dark") if state in ("normal", "trouble") else ("light",):
                context = browser.new_context(viewport=viewport, color_scheme=theme)
                page = context.new_page()
                page.goto(url.rstrip("/") + path)
                for _ in page.locator("[data-chart], [data-overlay], [data-trend]").all():
                    page.wait_for_selector("[data-drawn]")
                page.wait_for_timeout(200)
                page.screenshot(path=folder / f"{state}-{name}-{size}-{theme}.png", full_page=True)
                context.close()


def main(folder: Path, states: list[str]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as place:
        shop = Workshop(Path(place))
        fill(shop)
        server = Server(build(shop.live, shop.folder, now=lambda: NOW_MS), port=0)
        server.start()
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=CHROMIUM_ARGS)
            for state in states or STATES:
                shop.live.clear()
                STATES[state](shop.live)
                shoot(browser, server.url, folder, state)
            browser.close()
        server.stop()
        shop.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2:])
