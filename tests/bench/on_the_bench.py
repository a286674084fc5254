"""The bench as a maker has it: the real server on a scene of its own, and a real browser (Debian's chromium, through Playwright)."""

import base64
import io
import os
import runpy
import shutil
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import tomlkit
from PIL import Image

from previz.bench.app import PAGE

ROOT = Path(__file__).parents[2]
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = (
    "--no-sandbox --use-angle=swiftshader --enable-unsafe-swiftshader --disable-background-networking --disable-component-update --disable-sync"
    " --disable-dev-shm-usage --no-first-run"
).split()
PATIENCE_MS = 180_000
EXPECTED = ("ERR_CONNECTION_REFUSED", "status of 422")
"""What the browser itself writes down when a server is gone for a while, and when it refuses what was typed."""

SCENE = """\
# A plain room; this line is the maker's.
title = "Plain room"

[[room]]
name = "room"
plan = [[0, 0], [300, 0], [300, 200], [0, 200]]
walls = ["south", "east", "north", "west"]
open = ["south"]
height = 180

[[opening]]
name = "window"
wall = "room.east"
at = [60, 60]
size = [80, 90]

[[prop]]
name = "table"
kind = "box"
size = [60, 40, 30]
at = [150, 100, 0]

[[lamp]]
name = "key"          # on the tall stand
kind = "disc"
diameter = 60
at = [900, 100, 600]
toward = "window"
lux_at_1m = 20000

[haze]
extinction = 1.5

[lens]
barrel = [[150, 20]]

[[shot]]
name = "past the table"
clip = 2
move = "slide"
from = [120, -30, 60]
to = [180, -30, 60]
look = { pan = 90, tilt = -10 }
subject = "table"
iso = 1600
"""


class OnTheBench:
    """A server that runs, the scene file that it serves, and pages that are open on it."""

    def __init__(self, folder: Path, browser, scene: str = SCENE):
        self.scene, self.browser = folder / "room.toml", browser
        self.scene.write_text(scene)
        self.port, self.session, self.process = _free_port(), None, None
        self.contexts, self.left, self.wrong, self.cables = [], [], [], {}
        self.start()

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Start the server and wait for the link that it prints."""
        command = [sys.executable, "-m", "previz", "bench", str(self.scene), "--port", str(self.port)]
        environment = {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, [str(ROOT), os.environ.get("PYTHONPATH")]))}
        self.process = subprocess.Popen(command, cwd=self.scene.parent, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        self.link = self.process.stdout.readline().strip()
        assert self.link.startswith(self.address), self.process.communicate(timeout=20)[1]

    def stop(self, kill: bool = False) -> str:
        """End the server, as a maker does or as a power cut does; return what it said on standard error."""
        self.process.kill() if kill else self.process.send_signal(signal.SIGTERM)
        return self.process.communicate(timeout=30)[1]

    def open(self, width: int = 1280, height: int = 900, wait: bool = True, breakable: bool = False, **options):
        """Open a page of its own device and wait until it shows scene, drawing and first picture; a breakable one can be cut off."""
        context = self.browser.new_context(viewport={"width": width, "height": height}, storage_state=self.session, **options)
        context.set_default_timeout(PATIENCE_MS)
        self.contexts.append(context)
        page = context.new_page()
        page.on("request", lambda request: self.left.append(request.url) if not request.url.startswith((self.address, "blob:", "data:")) else None)
        page.on("pageerror", lambda error: self.wrong.append(str(error)))
        page.on("console", lambda said: self.wrong.append(said.text) if said.type == "error" and not any(part in said.text for part in EXPECTED) else None)
        if breakable:
            self.cables[page] = []
            page.route_web_socket("**/api/socket", lambda socket: self._plug(page, socket))
        page.goto(self.link if self.session is None else self.address)
        if self.session is None:
            page.wait_for_selector(".worktop", state="attached")
            self.session = {"cookies": context.cookies(), "origins": []}
        if wait:
            page.wait_for_selector("html[data-ready]", state="attached")
        return page

    def _plug(self, page, socket) -> None:
        if self.cables[page] is None:
            return socket.close()
        self.cables[page].append(socket)
        socket.connect_to_server()

    def cut_off(self, page) -> None:
        """Close the socket of a breakable page and keep it closed."""
        sockets, self.cables[page] = self.cables[page], None
        for socket in sockets:
            socket.close()

    def let_back(self, page) -> None:
        """Let a page that was cut off connect again."""
        self.cables[page] = []

    def read(self):
        """Return the scene file as it is on the disk."""
        return tomlkit.parse(self.scene.read_text())

    def close_pages(self) -> None:
        while self.contexts:
            self.contexts.pop().close()


def played(page, share: float) -> tuple[float, Image.Image]:
    """Play the move, stop it, put the slider at a share of the take; return the share that it came to stand at, and the picture when the page has no more to add to it."""
    page.get_by_role("button", name="Play the move").click()
    page.get_by_role("button", name="Stop here").click()
    there = page.locator("#paper-lens input[type=range]").first.evaluate(
        """(slider, share) => {
            slider.value = share * slider.max;
            slider.dispatchEvent(new Event("input", { bubbles: true }));
            delete document.querySelector("canvas.played").dataset.atRest;
            return slider.value / slider.max;
        }""",
        share,
    )
    until(page, "document.querySelector('canvas.played').dataset.atRest === '1'")
    shown = page.locator("canvas.played").evaluate("canvas => canvas.toDataURL('image/png')")
    return there, Image.open(io.BytesIO(base64.b64decode(shown.split(",")[1]))).convert("RGB")


def light_of(coded) -> np.ndarray:
    """Return linear shares of white of sRGB bytes (IEC 61966-2-1:1999, from memory)."""
    value = np.asarray(coded, float) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4) @ [0.2126, 0.7152, 0.0722]


def settled(page, after: int | None = None) -> int:
    """Wait until the page shows a revision later than `after`, if one is given, and it is on the disk; return it."""
    until(page, "after => { const { rev, saved } = document.documentElement.dataset; return Number(rev) > after && Number(saved) >= Number(rev); }", -1 if after is None else after)
    return revision(page)


def until(page, expression: str, argument=None):
    """Wait until an expression holds on a page, and return it. Playwright's own way needs eval, which the page's policy forbids."""
    end = time.monotonic() + PATIENCE_MS / 1000
    while not (held := page.evaluate(expression, argument)):
        assert time.monotonic() < end, f"the page never came to {expression}"
        page.wait_for_timeout(40)
    return held


def revision(page) -> int:
    """Return the revision that a page shows."""
    return int(page.evaluate("document.documentElement.dataset.rev"))


def _free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return free.getsockname()[1]


def browser(*flags: str):
    """Yield a browser, with more flags if need be; skip where there is none, or no page to show."""
    if CHROMIUM is None:
        pytest.skip("no chromium on this machine (Debian: apt-get install chromium)")
    if not (PAGE / "index.html").is_file():
        pytest.skip("the page was not built (pip install . builds it)")
    if runpy.run_path(str(ROOT / ".packaging" / "stamp.py"))["page_is_due"](ROOT):
        pytest.fail("the page was built from other sources than those here: cd previz/bench/front && npx vite build", pytrace=False)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        launched = playwright.chromium.launch(executable_path=CHROMIUM, args=[*FLAGS, *flags])
        yield launched
        launched.close()


@pytest.fixture(scope="module")
def chromium():
    """A browser for one module of tests: its loop stands in the way of others' in the same thread."""
    yield from browser()


@pytest.fixture(scope="module")
def served(chromium, tmp_path_factory):
    """One server for a module of tests, each of which leaves the scene sound."""
    bench = OnTheBench(tmp_path_factory.mktemp("bench"), chromium)
    yield bench
    bench.close_pages()
    said = bench.stop()
    assert "Traceback" not in said, said


@pytest.fixture
def bench(served):
    """The server with no page open yet; no page may have asked another machine, or have failed."""
    yield served
    served.close_pages()
    left, wrong = served.left[:], served.wrong[:]
    served.left.clear(), served.wrong.clear()
    assert left == [] and wrong == []


@pytest.fixture
def waiting():
    """How a test waits for a page."""
    return SimpleNamespace(settled=settled, revision=revision, until=until)
