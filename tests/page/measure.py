"""Figures of the phone page: `python -m tests.page.measure [--json] [size|paint|phones|browser]`.

Sizes are of what goes over the air (gzip). Times are medians of five, under CPU / 4 and slow 4G as browsers' own tools
define it (562 ms, 1.44 Mbit/s down); "warm" is with the service worker. No figure here is a test: machines differ.
"""

from __future__ import annotations

import argparse
import gzip
import json
import statistics
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import Any, NamedTuple

import httpx
from playwright.sync_api import BrowserContext, Page

from controller.page.shell import page as html
from controller.page.shell import read_built
from tests.page.stage import Stage, chromium, fresh_is, phone

RUNS = 5
PHONES = 50
HOURS = 8
SLOW_4G = {"offline": False, "latency": 562.5, "downloadThroughput": 1.44e6 / 8, "uploadThroughput": 0.675e6 / 8}

# When the first value could be read, and when the page was live, in ms since the navigation began.
MARKS = """(() => {
  window.marks = {}
  const look = () => {
    const shown = document.querySelector('.first-value, .way-left')
    if (!marks.value && shown) requestAnimationFrame(() => setTimeout(() => {
      marks.value = marks.value || performance.now() }))
    const fresh = document.documentElement && document.documentElement.dataset.fresh
    if (!marks.live && fresh === 'live' && window.marks.streamed) marks.live = performance.now()
    if (!(marks.value && marks.live)) setTimeout(look, 5)
  }
  const fetched = window.fetch
  window.fetch = (...a) => fetched(...a).then(r => {
    if (String(a[0]).startsWith('/live')) marks.streamed = true; return r })
  look()
})()"""


class Figure(NamedTuple):
    name: str
    value: float
    unit: str


def size() -> list[Figure]:
    """Everything a phone ever fetches, compressed as it is sent."""
    built = read_built()
    shell = len(gzip.compress(html(built, None, None).encode(), 6))
    others = {n: len(gzip.compress(d, 9)) for n, d in built.files.items() if n in ("trend.js", "sw.js", "icon.svg")}
    manifest = len(gzip.compress(built.files["manifest.webmanifest"], 9))
    return [
        Figure("page: HTML with style and script", shell / 1000, "kB"),
        Figure("page: trends, when first looked at", others["trend.js"] / 1000, "kB"),
        Figure("page: all of it", (shell + sum(others.values()) + manifest) / 1000, "kB"),
    ]


def _slow(context: BrowserContext, page: Page) -> None:
    tools = context.new_cdp_session(page)
    tools.send("Network.enable")
    tools.send("Network.emulateNetworkConditions", SLOW_4G)
    tools.send("Emulation.setCPUThrottlingRate", {"rate": 4})


def _marks(page: Page, address: str) -> tuple[float, float]:
    page.goto(address, wait_until="commit")
    fresh_is(page, "live")
    found: dict[str, float] = {}
    while not {"value", "live"} <= set(found):
        page.wait_for_timeout(50)
        found = page.evaluate("() => window.marks")
    return found["value"], found["live"]


def paint(stage: Stage) -> list[Figure]:
    cold, warm = [], []
    with chromium() as browser:
        for _ in range(RUNS):
            context = phone(browser, workers=True)
            context.add_init_script(MARKS)
            page = context.new_page()
            _slow(context, page)
            cold.append(_marks(page, stage.address))
            page.evaluate("() => navigator.serviceWorker.ready")
            page.wait_for_timeout(1500)
            warm.append(_marks(page, stage.address))
            context.close()
    return [
        Figure(f"page: {what} {which}, slow 4G and CPU / 4", statistics.median(times), "ms")
        for which, runs in (("cold", cold), ("warm", warm))
        for what, times in zip(("first value", "live"), zip(*runs, strict=True), strict=True)
    ]


def _follow(address: str, ended: threading.Event, delays: list[float], seen: list[int]) -> None:
    """One phone that only reads; notes how long after the rig's own moment each state came."""
    with httpx.Client(timeout=20) as client, client.stream("GET", f"{address}/live?rig=boathouse") as live:
        for line in live.iter_lines():
            if ended.is_set():
                return
            if line.startswith("data: "):
                frame = json.loads(line[6:])
                seen.append(1)
                moment = frame.get("d", {}).get("state", {})
                if isinstance(moment, dict) and "time_s" in moment:
                    delays.append(time.time() - moment["time_s"][0])


def phones(stage: Stage) -> list[Figure]:
    """Memory with one phone and with fifty, and how late the last of them is told."""
    figures = []
    for number in (1, PHONES):
        ended, delays, seen = threading.Event(), list[float](), list[int]()
        crowd = [threading.Thread(target=_follow, args=(stage.address, ended, delays, seen)) for _ in range(number)]
        for one in crowd:
            one.start()
        while len(delays) < 10 * number:
            time.sleep(0.1)
        began_s, before_s = time.monotonic(), _cpu_s(stage.process.pid)
        time.sleep(5)
        share = (_cpu_s(stage.process.pid) - before_s) / (time.monotonic() - began_s)
        label = f"page: {number} phone{'s' if number > 1 else ''}"
        figures += [
            Figure(f"{label}, resident", stage.resident_mb(), "MB"),
            Figure(
                f"{label}, from the rig's word to the phone, 99 of 100",
                1000 * sorted(delays)[int(0.99 * len(delays))],
                "ms",
            ),
            Figure(f"{label}, processor", 100 * share, "% of a core"),
        ]
        ended.set()
        for one in crowd:
            one.join()
    return figures


def _cpu_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / 100


# Counts the messages that this phone has taken in: each is one JSON text with the server's moment in it.
COUNT = """(() => {
  window.frames_heard = 0
  const parse = JSON.parse
  JSON.parse = (...a) => { const found = parse(...a); if (found && found.t) window.frames_heard++; return found }
})()"""


def browser_memory(stage: Stage) -> list[Figure]:
    """The page's heap over as many live states as `HOURS` bring, twenty a second: what the page sends on at most.

    Ten times on the way every part of the page is looked at, so that what is put up and taken down is counted too.
    """
    number, figures, heaps = HOURS * 3600, list[Figure](), list[float]()
    with chromium() as browser:
        context = phone(browser)
        context.add_init_script(COUNT)
        page = context.new_page()
        page.goto(f"{stage.address}/rig/boathouse")
        fresh_is(page, "live")
        tools = context.new_cdp_session(page)
        stage.link.frozen = True

        def look_around_and_weigh() -> None:
            for tab in ("trends", "record", "act", "now"):
                page.locator(f".dock a[href='#{tab}']").click()
                page.wait_for_timeout(500)
            tools.send("HeapProfiler.collectGarbage")
            heaps.append(float(tools.send("Runtime.getHeapUsage")["usedSize"]) / 1e6)

        look_around_and_weigh()
        heard = 0
        while heard < number:
            for n in range(number // 100):
                values = {"cell_temperature": 54.0 + n % 50 / 10, "current": 24.0 + n % 7 / 10}
                stage.link.changes = {"values": values}
                stage.link.say()
                time.sleep(0.055)  # the page sends on what changed within 50 ms as one
            heard = int(page.evaluate("() => window.frames_heard"))
            if heard >= len(heaps) * number / 10:
                look_around_and_weigh()
        context.close()
    figures.append(Figure("page: heap in the browser at first", heaps[0], "MB"))
    figures.append(Figure(f"page: the most of {len(heaps) - 1} weighings over {heard} states", max(heaps[1:]), "MB"))
    figures.append(Figure(f"page: at the end of {HOURS} hours' worth", heaps[-1], "MB"))
    return figures


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("what", nargs="*", default=["size", "paint", "phones", "browser"])
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args()
    staged: dict[str, Any] = {"paint": paint, "phones": phones, "browser": browser_memory}
    found = size() if "size" in asked.what else []
    for name, measure in staged.items():
        if name in asked.what:
            with tempfile.TemporaryDirectory() as folder:
                stage = Stage(Path(folder), "--open-view")
                try:
                    found += measure(stage)
                finally:
                    stage.close()
    if asked.json:
        json.dump([f._asdict() for f in found], sys.stdout, indent=1)
    else:
        for figure in found:
            sys.stdout.write(f"{figure.name:<70}{figure.value:>10.1f} {figure.unit}\n")


if __name__ == "__main__":
    main()
