"""
Long use of the page: its memory stays what it was.

The browser makes no machine code of the script here. What it makes, and drops again, lies in the same heap and moves by half a
megabyte either way over an hour, more than a leak of a kilobyte a drag would; without it the same limit is nearer to what the page holds.
"""

import pytest
from on_the_bench import browser

DRAGS, EACH = 1000, 100
GROWTH = 1.1
"""Of what is held after the first round, in which pictures, drawings and history fill what they keep (own choice)."""


@pytest.fixture(scope="module")
def chromium():
    """A browser that runs the script as it stands."""
    yield from browser("--js-flags=--jitless")


def test_memory_is_steady_over_a_thousand_drags(bench, waiting):
    """A lamp dragged there and back a thousand times, each drag an edit: script's memory, elements and listeners."""
    page = bench.open(820, 1200)
    lamp = page.locator('#paper-plan [data-grip="lamp/key/at"]')
    page.click("#paper-plan >> text=All")
    browser = page.context.new_cdp_session(page)
    browser.send("Performance.enable")
    held = []
    for round_ in range(DRAGS // EACH):
        for step in range(EACH):
            box = lamp.bounding_box()
            x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
            page.mouse.move(x, y)
            page.mouse.down()
            page.mouse.move(x, y + (6 if step % 2 else -6), steps=2)
            page.mouse.up()
        waiting.settled(page)
        page.wait_for_timeout(1000)
        held.append(_held(browser))
        print(f"\nafter {(round_ + 1) * EACH} drags: {held[-1]}", flush=True)
    assert waiting.revision(page) > DRAGS // 2
    for what, first in held[0].items():
        assert held[-1][what] <= GROWTH * first, what


def _held(browser) -> dict:
    """What the page holds after its rubbish was collected."""
    for _ in range(2):
        browser.send("HeapProfiler.collectGarbage")
    told = {one["name"]: one["value"] for one in browser.send("Performance.getMetrics")["metrics"]}
    return {what: told[what] for what in ("JSHeapUsedSize", "Nodes", "JSEventListeners")}
