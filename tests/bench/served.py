"""
The bench as a process of its own, for tests: started, paired, spoken to, killed; and many edits by two clients while it is.

Takes a folder; gives a server on a small scene and sockets to it.
"""

import json
import os
import random
import signal
import socket
import subprocess
import sys
import threading
import time
import tomllib
from pathlib import Path

import requests
from websockets.exceptions import ConnectionClosed, InvalidHandshake
from websockets.sync.client import connect

import previz as package
from previz.bench.keys import applied
from previz.bench.wire import Change

# The same previz as the tests import.
SAME = {**os.environ, "PYTHONPATH": str(Path(package.__file__).parents[1])}
SCENE = Path(__file__).with_name("small_room.toml").read_text(encoding="utf-8")


class Served:
    """A bench in a process, and one device that has given its code."""

    def __init__(self, folder: Path, port: int | None = None, device: requests.Session | None = None):
        self.scene = folder / "room.toml"
        if not self.scene.exists():
            self.scene.write_text(SCENE)
        self.port = port or free_port()
        command = [sys.executable, "-m", "previz", "bench", str(self.scene), "--port", str(self.port), "--workers", "1"]
        self.process = subprocess.Popen(command, cwd=folder, env=SAME, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        self.link = self.process.stdout.readline().strip()
        assert self.link, self.process.communicate()[1]
        self.address, self.code = self.link.split("/pair#")
        self.device = device or requests.Session()
        self.device.headers["Origin"] = self.address

    def pair(self):
        assert self.get_when_up("/pair") is not None
        assert self.device.post(self.address + "/api/pair", json={"code": self.code}).json() == {"paired": True}
        return self

    def get_when_up(self, where):
        for _ in range(200):
            try:
                return self.device.get(self.address + where)
            except requests.ConnectionError:
                time.sleep(0.05)

    def get(self, where, **options):
        return self.device.get(self.address + where, **options)

    def post(self, where, **options):
        return self.device.post(self.address + where, **options)

    def connect(self, origin=None, cookie=True, host=None):
        held = "; ".join(f"{name}={value}" for name, value in self.device.cookies.items())
        headers = ({"Cookie": held} if cookie else {}) | ({"Host": host} if host else {})
        return connect(f"ws://127.0.0.1:{self.port}/api/socket", origin=self.address if origin is None else origin or None, additional_headers=headers, legacy=True)

    def end(self, with_signal=signal.SIGINT) -> str:
        """End it; what it said on standard error."""
        if self.process.poll() is None:
            self.process.send_signal(with_signal)
        return self.process.communicate(timeout=30)[1]


def free_port() -> int:
    """Return a port that nobody listens at."""
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return one.getsockname()[1]


def said(socket, *kinds, within=10.0):
    """The next message of one of these kinds."""
    until = time.monotonic() + within
    while True:
        message = json.loads(socket.recv(timeout=max(until - time.monotonic(), 0.01)))
        if message["did"] in kinds:
            return message


def hello(socket, who):
    socket.send(json.dumps({"do": "hello", "who": who, "rev": None}))
    return said(socket, "hello")


def edit(socket, id, base, *changes):
    socket.send(json.dumps({"do": "edit", "id": id, "base": base, "changes": [{"key": key, "to": to} for key, to in changes], "says": "Edit"}))


class Soaking:
    """
    Two clients that edit one scene as fast as they are answered, while the server is killed and started again.

    Each waits until its edit is told, sends it again where it did not hear, and goes on on the newest revision where it
    is asked. `told` is what was told by revision, `saved` the newest revision that anybody was told is on the disk.
    """

    def __init__(self, folder: Path, edits: int, kills: int, seed: int):
        self.folder, self.edits, self.kills, self.random = folder, edits, kills, random.Random(seed)
        self.bench = Served(folder).pair()
        self.told, self.saved, self.found = {}, 1, []
        self.left, self.alone, self.wrong = edits, threading.Lock(), []
        self.asked = 0

    def run(self) -> None:
        clients = [threading.Thread(target=self._client, args=(who, self.random.random()), daemon=True) for who in ("one", "two")]
        for client in clients:
            client.start()
        for number in range(self.kills):
            at = self.edits * (number + 1) // (self.kills + 1)
            while len(self.told) < at + self.random.randrange(5) and any(client.is_alive() for client in clients):
                time.sleep(0.005)
            self.bench.process.kill()
            self.bench.process.communicate()
            self.found.append((self.saved, self.bench.scene.read_text()))
            self.bench = Served(self.folder, self.bench.port, device=self.bench.device)
        for client in clients:
            client.join()
        assert self.wrong == []

    def _client(self, who, seed):
        try:
            self._edits(who, random.Random(seed))
        except Exception as error:
            self.wrong.append(repr(error))

    def _edits(self, who, chance):
        count, rev, page, waiting = 0, 1, None, None
        while self.left > 0 or waiting:
            try:
                if page is None:
                    page = self.bench.connect()
                    rev = hello(page, who)["rev"]
                if waiting is None:
                    with self.alone:
                        self.left -= 1
                    count += 1
                    waiting = [f"{who}-{count}", rev, *self._change(chance)]
                edit(page, waiting[0], waiting[1], (waiting[2], waiting[3]))
                while waiting:
                    message = json.loads(page.recv(timeout=60))
                    if message["did"] == "edit":
                        rev = max(rev, message["rev"])
                        self.told[message["rev"]] = message["changes"]
                        if message["id"] == waiting[0]:
                            waiting = None
                    elif message["did"] == "saved":
                        self.saved = max(self.saved, message["rev"])
                    elif message["did"] == "asked":
                        self.asked += 1
                        waiting[0], waiting[1] = waiting[0] + "+", rev
                        edit(page, waiting[0], rev, (waiting[2], waiting[3]))
                    elif message["did"] == "full":
                        time.sleep(message["wait_s"])
                        edit(page, waiting[0], waiting[1], (waiting[2], waiting[3]))
                    elif message["did"] == "refused":
                        raise AssertionError(message)
            except (ConnectionClosed, InvalidHandshake, OSError, EOFError):
                page = None
                time.sleep(0.05)
        page.close()

    @staticmethod
    def _change(chance):
        at = [chance.randrange(850, 950), chance.randrange(50, 150), chance.randrange(500, 700)]
        return chance.choice(
            [
                (["lamp", "key", "at"], at),
                (["lamp", "key", "dim"], chance.randrange(100) / 100),
                (["lamp", "fill", "candela"], chance.randrange(1, 1000)),
                (["haze", "extinction"], chance.randrange(1, 300) / 100),
                (["title"], f"Take {chance.randrange(10**6)}"),
                (["opening", "window", "at"], [chance.randrange(40, 80), chance.randrange(40, 70)]),
                (["prop", "table", "turn"], chance.choice([None, chance.randrange(90)])),
            ]
        )

    def texts(self) -> dict[int, dict]:
        """The plain values at each revision, from what was told alone."""
        values = {1: tomllib.loads(SCENE)}
        for rev in range(2, max(self.told) + 1):
            values[rev] = applied(values[rev - 1], [Change(**one) for one in self.told[rev]])
        return values

    def check(self) -> None:
        """Every revision was told once; the file never held less than was told to be saved, and in the end holds all."""
        self.bench.end()
        values = self.texts()
        assert sorted(values) == list(range(1, len(values) + 1)) and len(values) == self.edits + 1
        for saved, text in self.found:
            held = tomllib.loads(text)
            assert any(values[rev] == held for rev in range(saved, len(values) + 1)), saved
        text = self.bench.scene.read_text()
        assert tomllib.loads(text) == values[len(values)]
        assert all(line.split("#", 1)[1] in text for line in SCENE.splitlines() if "#" in line)
