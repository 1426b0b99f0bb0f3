"""Twenty minutes of live watching, played as fast as they are taken: memory of server and browser before, meanwhile and after.

One command, `python -m tests.bench.bench_page_memory [MINUTES]`: about a minute. Four looks a second, a weld with its
half-cycles timed every 15 s, one board room open in Chromium. Nothing of the page waits for the clock but the pause
between two events, which is left out.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import gen.page.live
from gen import words
from gen.link.messages import Hello, Schedules, Status
from gen.page.board_keeper import BoardSeen
from gen.page.workers import load
from gen.records import Records
from tests.gen.cli.test_weld import gates_of, record
from tests.support.page.driven import driven, sized, until
from tests.support.page.open_page import example, open_page

LOOKS, EVERY_S, MOST_WELDS, PAUSE_S = 4, 15, 64, 0.004
"""Looks a second; seconds from weld to weld; welds that are remembered; what stands for the time between two looks."""
COUNT = "window.swaps = 0; document.addEventListener('htmx:sseMessage', () => { window.swaps++; });"


HELLO = Hello(
    program="weldbeat", version="1", protocol=words.PROTOCOL, board="pico", bundle="0" * 16, frequency_Hz=50,
    selected="job", digest="0" * 16, boot=7,
)  # fmt: skip
STATUS = Status(
    state="ready", reason="none", way_out="", mains_mHz=50_000, welds=0, last="completed", fired=40, planned=40,
    duty_left_half_cycles=500, duty_wait_s=0, selected="job", inputs=0,
)  # fmt: skip


def served(folder: Path) -> None:
    """The other process: serve, and play so many seconds more at each line read."""
    gen.page.live._LEAST_S = 0.0
    played = 0
    with open_page(example(folder)) as page, Records(folder / "records.sqlite") as records:
        for lane in (page.desk.workers.quick, page.desk.workers.slow):
            lane.run("loaded", load)
        print(page.address, flush=True)
        held = Schedules(selected="job", names=[("job", "0" * 16)])
        seen = BoardSeen("/dev/ttyACM0", connected=True, hello=HELLO, schedules=held)
        for line in sys.stdin:
            for _ in range(int(line) * LOOKS):
                played += 1
                if played % (EVERY_S * LOOKS) == 0:
                    number = played // (EVERY_S * LOOKS)
                    weld = replace(record(1), count=number)
                    records.add_welds([weld])
                    records.add_curve(tuple(replace(gate, count=number) for gate in gates_of(1)))
                    seen = replace(seen, welds=(weld, *seen.welds)[:MOST_WELDS])
                changed = {"mains_mHz": 50_000 + played % 7 * 10, "duty_left_half_cycles": played % 500}
                seen = replace(seen, status=STATUS.model_copy(update=changed))
                page.desk.board.live.set(seen)
                time.sleep(PAUSE_S)
            print("played", flush=True)


def rss_MB(process: int) -> float:
    """What a process has in memory, with the processes that compute for it."""
    pages = int(Path(f"/proc/{process}/statm").read_text().split()[1])
    children = Path(f"/proc/{process}/task/{process}/children").read_text().split()
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6 + sum(rss_MB(int(child)) for child in children)


def heap(browser: Any) -> tuple[float, int]:
    """Bytes of the page's own objects after everything let go of was collected, in MB, and the nodes of its document."""
    browser.execute_cdp_cmd("HeapProfiler.collectGarbage", {})
    found = {each["name"]: each["value"] for each in browser.execute_cdp_cmd("Performance.getMetrics", {})["metrics"]}
    return found["JSHeapUsedSize"] / 1e6, int(found["Nodes"])


def main() -> None:
    minutes = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    command = [sys.executable, "-m", "tests.bench.bench_page_memory", "serve"]
    with (
        tempfile.TemporaryDirectory() as folder,
        subprocess.Popen([*command, folder], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as server,
        driven() as browser,
    ):
        assert server.stdin is not None
        assert server.stdout is not None
        address = server.stdout.readline().strip()
        sized(browser, 1280)
        browser.get(address)
        browser.get(address.partition("/?")[0] + "/board")
        until(lambda: "No board" in browser.find_element("id", "live").text)
        browser.execute_script(COUNT)
        browser.execute_cdp_cmd("Performance.enable", {})
        for minute in range(minutes + 1):
            if minute:
                server.stdin.write("60\n")
                server.stdin.flush()
                server.stdout.readline()
            told, nodes = heap(browser)
            swaps = browser.execute_script("return window.swaps")
            print(
                f"{minute:>3} min: server {rss_MB(server.pid):.1f} MB, page {told:.2f} MB, {nodes} nodes, {swaps} events"
            )
        server.stdin.close()


if __name__ == "__main__":
    if sys.argv[1:2] == ["serve"]:
        served(Path(sys.argv[2]))
    else:
        main()
