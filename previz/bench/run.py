"""
`previz bench`: the server from its start to Ctrl-C.

Takes a scene file; prints where the page is. By default only this machine can reach it; with `share` the network that this
machine is in can, with a one-time code.
"""

from __future__ import annotations

import asyncio
import logging
import os
import socket
import sys
import webbrowser
from pathlib import Path

import uvicorn
from uvicorn.protocols.websockets.websockets_sansio_impl import WebSocketsSansIOProtocol
from websockets.exceptions import InvalidState

from previz.bench import app as server
from previz.bench.document import Document, folder_of
from previz.bench.guard import LARGEST_BODY
from previz.bench.hub import Hub
from previz.bench.pairing import CODE_S, Pairing
from previz.bench.symbol import qr_text
from previz.scene.faults import OptionFault

PORT, TRIED = 8470, 20
"""The port that is taken where none is asked for, else one of the next; always the same, so that a page finds its server again."""

GRACE_S = 2
LOOPBACK = "127.0.0.1"


class _Server(uvicorn.Server):
    """A server that sleeps until it is called or told to end: uvicorn's own looks ten times a second whether it shall."""

    async def main_loop(self) -> None:
        self._ending = asyncio.Event()
        self._awake = asyncio.get_running_loop()
        if not self.should_exit:
            await self._ending.wait()

    def handle_exit(self, sig, frame) -> None:
        self.should_exit = True
        if hasattr(self, "_ending"):
            self._awake.call_soon_threadsafe(self._ending.set)


class _Socket(WebSocketsSansIOProtocol):
    """A page's socket that ends with the server even where its browser has just begun to close it: uvicorn's own raises then."""

    def shutdown(self) -> None:
        try:
            super().shutdown()
        except InvalidState:
            self.transport.close()


def run_bench(scene: Path, *, port: int | None = None, share: bool = False, workers: int | None = None) -> None:
    """
    Serve the bench of a scene file until Ctrl-C; everything is saved then.

    Parameters
    ----------
    port : int or None
        1024 to 65535; None is PORT, or one near it.
    share : bool
        Let others in this network in, with a one-time code.

    Raises
    ------
    SceneFaults
        If the file has faults.
    OptionFault
        If the port is taken, there is no network, or the scene is on another bench.
    """
    from previz.bench.jobs import Jobs
    from previz.bench.live import Live

    if port is not None and not 1024 <= port <= 65535:
        raise OptionFault(f"--port {port}: it must be from 1024 to 65535", "Leave it out to take a free one.")
    document = Document(scene)
    try:
        lan = _own_address() if share else None
        sockets, port = _listening([LOOPBACK, *([lan] if lan else [])], port)
    except BaseException:
        document.close()
        raise
    hosts = {f"{name}:{port}" for name in (LOOPBACK, "localhost", *([lan] if lan else []))}
    address = f"http://{lan or LOOPBACK}:{port}"
    pairing = Pairing(folder_of(scene.resolve()) / "devices.json")
    hub = Hub(document, lambda tell: Live(scene, workers=workers, tell=tell), share)
    jobs = Jobs(scene, tell=hub.tell)
    app = server.make_app(hub, jobs, pairing, hosts=hosts, port=port, address=address, said=_say)
    _quiet()
    config = uvicorn.Config(
        app,
        log_config=None,
        access_log=False,
        date_header=False,
        server_header=False,
        proxy_headers=False,
        lifespan="on",
        ws=_Socket,
        ws_max_size=16 * LARGEST_BODY,
        ws_per_message_deflate=False,
        timeout_graceful_shutdown=GRACE_S,
    )
    _welcome(pairing, port, address, share)
    _Server(config).run(sockets)
    _say("Saved. The bench is closed.")


def _welcome(pairing, port, address, share):
    link = f"http://{LOOPBACK}:{port}/pair#{pairing.new_code(typed=False)}"
    print(link, flush=True)
    if not (server.PAGE / "index.html").is_file():
        _say(server.NOT_BUILT)
    if share:
        code = pairing.new_code(typed=True)
        _say(f"For another device in this network: {address}/pair and the code {code}")
        if sys.stderr.isatty() and (sys.stderr.encoding or "").lower().startswith("utf"):
            _say(qr_text(f"{address}/pair#{code}"))
        _say("Whoever has the code can change this scene, and what is sent can be read by others in the network: share only in one that you trust.")
    _say(f"The link{' and the code' if share else ''} can be used once, within {CODE_S // 60} minutes. End with Ctrl-C.")
    if sys.stdin.isatty() and sys.stdout.isatty() and (sys.platform in ("win32", "darwin") or os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")):
        webbrowser.open(link)


def _listening(names, port):
    """Sockets of one port at each address, and the port."""
    for tried in [port] if port is not None else range(PORT, PORT + TRIED):
        sockets = []
        try:
            for name in names:
                sockets.append(socket.socket(socket.AF_INET, socket.SOCK_STREAM))
                if sys.platform != "win32":
                    sockets[-1].setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
                sockets[-1].bind((name, tried))
                sockets[-1].listen(128)
            return sockets, tried
        except OSError as error:
            for one in sockets:
                one.close()
            reason = error.strerror or str(error)
    which = f"port {port}" if port is not None else f"ports {PORT} to {PORT + TRIED - 1}"
    raise OptionFault(f"{which}: {reason}", "Another program listens there. Give another one with --port.")


def _own_address() -> str:
    """This machine's address in its network: the one that it would send from. Nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as way:
        try:
            way.connect(("192.0.2.1", 9))  # an address for documentation (RFC 5737), of no machine
            found = way.getsockname()[0]
        except OSError:
            found = "0.0.0.0"
    if found.startswith(("127.", "0.")):
        raise OptionFault("--share: this machine is in no network", "Connect it to the network that the tablet is in, or leave --share out.")
    return found


def _quiet():
    """Only faults of previz itself are logged: browsers that leave, and what they send, are no event."""
    logging.getLogger("uvicorn").setLevel(logging.CRITICAL)
    logging.getLogger("websockets").setLevel(logging.CRITICAL)
    logging.getLogger("watchfiles").setLevel(logging.WARNING)
    logging.basicConfig(stream=sys.stderr, level=logging.WARNING, format="%(message)s")


def _say(text: str) -> None:
    print(text, file=sys.stderr, flush=True)
