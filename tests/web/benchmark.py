"""Weight and speed of the pages: `python -m tests.web.benchmark [DAYS]` (200 days of samples take about two minutes).

Prints bytes, milliseconds and, for what a machine's speed changes, ratios between parts of the same run.
"""

import contextlib
import gzip
import multiprocessing
import re
import resource
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from multiprocessing.connection import Connection
from pathlib import Path

import httpx
from playwright.sync_api import Page, sync_playwright

from sootline.now import Reading
from sootline.web.app import build
from sootline.web.server import Server
from tests.web.states import STATES
from tests.web.workshop import (
    CHROMIUM,
    CHROMIUM_ARGS,
    HOUR_MS,
    NOW_MS,
    SIZES,
    StagedLive,
    Workshop,
    days,
    furnace_now,
)

PAGES = 50
WATCHED_S = 20.0


def median_ms(act: Callable[[], object], times: int = 9) -> float:
    act()
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        act()
        taken.append(time.perf_counter() - start)
    return 1000 * statistics.median(taken)


def weight(client: httpx.Client, path: str) -> tuple[int, int]:
    """Bytes over the wire of a page with its own files, and of the chart library."""
    answer = client.get(path)
    own, library = len(gzip.compress(answer.content, 6)), 0
    for url in re.findall(r'(?:src|href)="(/static/[^"]+)"', answer.text):
        size = len(gzip.compress(client.get(url).content, 6))
        if "uplot" in url:
            library += size
        else:
            own += size
    return own, library


def bytes_on_the_wire(client: httpx.Client) -> None:
    print("weight over the wire, gzip [bytes]             own files   chart library")
    for name, path in (("first page", "/"), ("one furnace", "/furnace/engine-shed"), ("alarms", "/alarms")):
        own, library = weight(client, path)
        print(f"  {name:<44} {own:>9,} {library:>14,}")
    chart = client.get("/furnace/engine-shed/chart.json?hours=24&pixels=684")
    print(f"  chart data of a day (gzip {len(gzip.compress(chart.content, 6)):,})")


def charts(client: httpx.Client, shop: Workshop, hours: float) -> None:
    first = (shop.store.extent("engine-shed") or (0, 0))[0]
    samples = round(hours * 720)
    print(f"season chart: {hours / 24:.0f} days, about {samples:,} samples a channel, since {first}")
    day = median_ms(lambda: client.get("/furnace/engine-shed/chart.json?hours=24&pixels=684"))
    for name, span in (("day", 24.0), ("week", 168.0), ("season", hours)):
        url = f"/furnace/engine-shed/chart.json?hours={span}&pixels=1200"
        series = client.get(url).json()["series"]
        points = sum(len(s["high"]) + len(s["low"] or ()) for s in series)
        taken = median_ms(lambda url=url: client.get(url))  # type: ignore[misc]
        print(f"  {name:<8} {taken:7.1f} ms  {taken / day:5.1f} x a day  {points:,} points")


def drawn(page: Page) -> str:
    page.wait_for_selector("[data-drawn]")
    return page.get_attribute("[data-chart]", "data-drawn") or ""


def zoom(server: Server) -> None:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=CHROMIUM_ARGS)
        page = browser.new_page(viewport=SIZES["desk"])  # type: ignore[arg-type]
        page.goto(server.url + "furnace/engine-shed/season")
        drawn(page)
        taken = []
        for _ in range(6):
            before = drawn(page)
            taken.append(
                page.evaluate(
                    """before => new Promise(done => {
                        const figure = document.querySelector("[data-chart]"), start = performance.now();
                        new MutationObserver(() => {
                          if (figure.getAttribute("data-drawn") !== before) {
                            requestAnimationFrame(() => done(performance.now() - start));
                          }
                        }).observe(figure, { attributes: true });
                        document.querySelector('[data-scale="0.5"]').click();
                    })""",
                    before,
                )
            )
        print(f"zoom, click to drawn: {', '.join(f'{t:.0f}' for t in taken)} ms (season to its half, and so on)")
        browser.close()


def latency(server: Server, live: StagedLive) -> None:
    """From the service's new picture to the changed number on a page."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=CHROMIUM_ARGS)
        page = browser.new_page(viewport=SIZES["phone"])  # type: ignore[arg-type]
        page.goto(server.url)
        now = furnace_now()
        taken = []
        for i in range(12):
            value = 100.0 + i
            page.wait_for_timeout(450)
            start = time.perf_counter()
            live.put(replace(now, readings={**now.readings, "stack": Reading(NOW_MS, value)}))
            page.wait_for_function(
                "text => document.querySelector('#card-engine-shed .gauge-stack .value').textContent.includes(text)",
                arg=f"{value:.0f}",
            )
            taken.append(1000 * (time.perf_counter() - start))
        print(f"live update, picture to page: median {statistics.median(taken):.0f} ms, worst {max(taken):.0f} ms")
        browser.close()


def serve(folder: Path, furnaces: int, pipe: Connection) -> None:
    """A host with `furnaces` furnaces that report every five seconds, told over `pipe` when to say its CPU time."""
    live = StagedLive()
    server = Server(build(live, folder, now=lambda: round(time.time() * 1000)), port=0)
    server.start()
    done = threading.Event()

    def report() -> None:
        i = 0
        while not done.wait(5.0 / furnaces):
            i += 1
            now_ms = round(time.time() * 1000)
            live.put(furnace_now(f"furnace-{i % furnaces}", now_ms=now_ms, old_s=0.1, stack=250.0 + i % 50))

    threading.Thread(target=report, daemon=True).start()
    pipe.send(server.port)
    while pipe.recv() == "cpu":
        usage = resource.getrusage(resource.RUSAGE_SELF)
        pipe.send(usage.ru_utime + usage.ru_stime)
    done.set()
    server.stop()


def many_pages(folder: Path, furnaces: int) -> None:
    ours, theirs = multiprocessing.Pipe()
    process = multiprocessing.get_context("spawn").Process(target=serve, args=(folder, furnaces, theirs))
    process.start()
    port = ours.recv()

    def share() -> float:
        ours.send("cpu")
        before = ours.recv()
        time.sleep(WATCHED_S)
        ours.send("cpu")
        return (ours.recv() - before) / WATCHED_S

    time.sleep(6.0)
    alone = share()
    counts = [0] * PAGES
    stopping = threading.Event()

    def listen(i: int) -> None:
        address = f"http://127.0.0.1:{port}/live"
        with contextlib.suppress(httpx.HTTPError), httpx.stream("GET", address, timeout=30) as stream:
            for piece in stream.iter_raw():
                counts[i] += len(piece)
                if stopping.is_set():
                    return

    for i in range(PAGES):
        threading.Thread(target=listen, args=(i,), daemon=True).start()
    time.sleep(3.0)
    begun = sum(counts)
    watched = share()
    per_page = (sum(counts) - begun) / PAGES / WATCHED_S
    stopping.set()
    ours.send("stop")
    process.join(10)
    print(
        f"{PAGES} open pages, {furnaces} furnaces at 5 s: {watched:.1%} of a core ({alone:.1%} with none), "
        f"{per_page / 1000:.1f} kB/s a page"
    )


def main(season_days: int) -> None:
    with tempfile.TemporaryDirectory() as place:
        shop = Workshop(Path(place))
        begun = time.perf_counter()
        for back in range(season_days, 0, -4):
            shop.store_rows("engine-shed", days(NOW_MS - (back - 4) * 24 * HOUR_MS, 96.0), boot=f"b{back}")
        shop.store.compact(NOW_MS)
        print(f"stored in {time.perf_counter() - begun:.0f} s")
        STATES["normal"](shop.live)
        server = Server(build(shop.live, shop.folder, now=lambda: NOW_MS), port=0)
        server.start()
        with httpx.Client(base_url=server.url, timeout=60) as client:
            bytes_on_the_wire(client)
            charts(client, shop, season_days * 24.0)
        zoom(server)
        latency(server, shop.live)
        server.stop()
        for furnaces in (2, 12):
            many_pages(shop.folder, furnaces)
        shop.close()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
