"""The server as a browser, a script and a stranger meet it: a process of its own, spoken to over its sockets."""

import base64
import json
import socket
import time

import pytest
import requests
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from served import Served, Soaking, edit, hello, said
from websockets.exceptions import ConnectionClosed, InvalidStatus

from previz.bench.document import folder_of
from previz.bench.guard import LARGEST_BODY

PNG = base64.b64decode("iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAQAAAC1HAwCAAAAC0lEQVR42mNk+A8AAQUBAScY42YAAAAASUVORK5CYII=")


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    """A bench that all tests of this module share; at the end it has said nothing but what a maker should read."""
    bench = Served(tmp_path_factory.mktemp("bench")).pair()
    yield bench
    for page in [bench.connect() for _ in range(5)]:
        page.socket.sendall(b"\x88\x80\0\0\0\0")  # a browser that begins to close (RFC 6455, 5.5.1) just before the server ends
    said_at_the_end = bench.end()
    assert bench.process.returncode == 0, said_at_the_end
    assert "Traceback" not in said_at_the_end and said_at_the_end.rstrip().endswith("Saved. The bench is closed."), said_at_the_end


@pytest.fixture
def page(served):
    """A page that has said hello."""
    with served.connect() as socket:
        hello(socket, f"page-{time.monotonic_ns()}")
        yield socket


def rev_of(served) -> int:
    return served.get("/api/scene").json()["rev"]


class TestDoor:
    """Who may come in, and how."""

    def test_without_a_code(self, served):
        """Nothing but the form and what it needs."""
        stranger = requests.Session()
        answer = stranger.get(served.address + "/", allow_redirects=False)
        assert answer.status_code == 303 and answer.headers["location"] == "/pair"
        for where in ("/api/scene", "/api/openapi.json", "/api/history", "/api/picture/1", "/api/jobs", "/docs", "/anything"):
            assert stranger.get(served.address + where).status_code == 401
        with served.connect(cookie=False) as socket, pytest.raises(ConnectionClosed) as closed:
            socket.recv(timeout=5)
        assert closed.value.rcvd.code == 4401

    def test_by_another_name(self, served):
        """A name that leads to this machine is not this machine's (DNS rebinding)."""
        for host in ("evil.example", f"evil.example:{served.port}", "127.0.0.1", f"127.0.0.1:{served.port}.evil.example", ""):
            assert served.get("/api/scene", headers={"Host": host}).status_code in (400, 421)
        with pytest.raises(InvalidStatus):
            served.connect(host=f"evil.example:{served.port}", origin=f"http://evil.example:{served.port}")

    @pytest.mark.parametrize("origin", ["http://evil.example", "null", "http://127.0.0.1", "https://127.0.0.1:{port}", None])
    def test_from_another_page(self, served, origin):
        """With the cookie, but sent by a page from elsewhere."""
        origin = origin and origin.format(port=served.port)
        for send in (served.device.post, served.device.delete):
            assert send(served.address + "/api/jobs/x" if send == served.device.delete else served.address + "/api/jobs", json={"verb": "cut", "options": {}}, headers={"Origin": origin}).status_code == 403
        with pytest.raises(InvalidStatus):
            served.connect(origin=origin or "")

    def test_every_answer_tells_the_browser_what_not_to_do(self, served):
        """No code but what is served as a file, no frame, no sniffing, no referrer; the cookie is for this site and for no script."""
        for answer in (served.get("/pair"), served.get("/api/scene"), served.get("/nothing"), requests.get(served.address + "/api/scene")):
            policy = answer.headers["content-security-policy"]
            assert "default-src 'none'" in policy and "frame-ancestors 'none'" in policy and "unsafe" not in policy
            assert answer.headers["x-content-type-options"] == "nosniff" and answer.headers["referrer-policy"] == "no-referrer"
            assert "server" not in answer.headers
        code = served.post("/api/share").json()["code"]
        cookie = requests.post(served.address + "/api/pair", json={"code": code}, headers={"Origin": served.address}).headers["set-cookie"].lower()
        assert "httponly" in cookie and "samesite=strict" in cookie and "path=/" in cookie

    def test_a_code_works_once(self, served):
        """In capitals or not, with or without the dash."""
        shared = served.post("/api/share").json()
        assert shared["link"].endswith("#" + shared["code"]) and len(shared["qr"]) == len(shared["qr"][0])
        typed = shared["code"].lower().replace("-", " ")
        assert requests.post(served.address + "/api/pair", json={"code": typed}, headers={"Origin": served.address}).status_code == 200
        assert requests.post(served.address + "/api/pair", json={"code": typed}, headers={"Origin": served.address}).status_code == 403

    def test_guessing_is_slow(self, served):
        """A few wrong codes, then none for a while; a page that is open goes on."""
        tried = [requests.post(served.address + "/api/pair", json={"code": f"WRNG-{n:04}"}, headers={"Origin": served.address}) for n in range(8)]
        assert tried[-1].status_code == 429 and int(tried[-1].headers["retry-after"]) > 0
        assert served.get("/api/scene").status_code == 200

    def test_too_many_requests(self, served):
        """Of one stranger; others do not feel it."""
        with socket.create_connection(("127.0.0.1", served.port)) as raw:
            raw.sendall(f"GET /pair HTTP/1.1\r\nHost: 127.0.0.1:{served.port}\r\n\r\n".encode() * 200 + b"end\r\n\r\n")
            answers = b"".join(iter(lambda: raw.recv(65536), b""))
        assert b"HTTP/1.1 429" in answers
        assert served.get("/api/scene").status_code == 200

    def test_secrets_are_not_on_the_disk(self, served):
        """Only their hashes, and not for everybody to read."""
        kept = folder_of(served.scene) / "devices.json"
        assert not any(value in kept.read_text() for value in served.device.cookies.values())
        assert kept.stat().st_mode & 0o077 == 0


class TestFiles:
    """Nothing but the bench's own files goes out, and nothing but pictures and meshes comes in."""

    @pytest.mark.parametrize("where", ["/assets/../wire.py", "/assets/%2e%2e/wire.py", "/assets/..%2fwire.py", "/assets//etc/passwd", "/assets/..\\wire.py", "/api/jobs/1/files/..%2froom.toml", "/api/jobs/..%2f1/files/room.toml"])
    def test_no_way_up(self, served, where):
        """Whatever the dots are spelt like."""
        with socket.create_connection(("127.0.0.1", served.port)) as raw:
            cookie = "; ".join(f"{n}={v}" for n, v in served.device.cookies.items())
            raw.sendall(f"GET {where} HTTP/1.1\r\nHost: 127.0.0.1:{served.port}\r\nCookie: {cookie}\r\nConnection: close\r\n\r\n".encode())
            answer = b"".join(iter(lambda: raw.recv(65536), b""))
        assert answer.startswith((b"HTTP/1.1 404", b"HTTP/1.1 400")) and b"import" not in answer

    @pytest.mark.parametrize(
        "kind, name, data, file",
        [
            ("photo", "set.jpeg", PNG, "set.png"),
            ("photo", "../../set.png", PNG, "set-2.png"),
            ("mesh", "C:\\tmp\\clock.txt", b"solid x\nfacet normal 0 0 1\nendsolid x\n", "clock.stl"),
            ("mesh", "room.toml", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", "room.obj"),
        ],
    )
    def test_uploads_are_told_by_what_they_are(self, served, kind, name, data, file):
        """Beside the scene, whatever the name says, and over no other file."""
        before = {path.name: path.read_bytes() for path in served.scene.parent.iterdir() if path.is_file() and path.suffix != ".toml"}
        answer = served.post("/api/upload", params={"kind": kind, "name": name}, data=data)
        assert answer.json() == {"file": file, "bytes": len(data)}
        assert (served.scene.parent / file).read_bytes() == data
        assert all((served.scene.parent / name).read_bytes() == old for name, old in before.items())

    @pytest.mark.parametrize("kind, data", [("photo", b"<svg onload=alert(1)>"), ("photo", PNG[:20]), ("mesh", PNG), ("mesh", b"MZ" + bytes(200)), ("mesh", b""), ("photo", b"GIF89a")])
    def test_other_files_are_refused(self, served, kind, data):
        """In words."""
        before = sorted(path.name for path in served.scene.parent.iterdir())
        answer = served.post("/api/upload", params={"kind": kind, "name": "x"}, data=data)
        assert answer.status_code == 422 and "this is not" in answer.json()["says"]
        assert sorted(path.name for path in served.scene.parent.iterdir()) == before

    def test_too_large(self, served):
        """Before it is read, and while it is."""
        assert served.post("/api/jobs", data=b" " * (LARGEST_BODY + 1)).status_code == 413
        assert served.post("/api/jobs", data=iter([b" " * LARGEST_BODY, b" " * LARGEST_BODY])).status_code == 413


class TestSocket:
    """Pages on one scene."""

    def test_told_to_all_and_saved(self, served, page):
        """Everybody sees it; within a second the file has it, comments and all."""
        with served.connect() as other:
            welcome = hello(other, "other")
            assert welcome["clients"] >= 2 and welcome["file"] == "room.toml" and welcome["share"] is False
            edit(page, "told", welcome["rev"], (["lamp", "key", "at"], [905, 100, 600]))
            for socket in (page, other):
                message = said(socket, "edit")
                assert message["changes"] == [{"key": ["lamp", "key", "at"], "to": [905, 100, 600]}] and message["id"] == "told"
                assert said(socket, "saved")["rev"] == message["rev"]
        assert "at = [905, 100, 600]  # measured twice" in served.scene.read_text()
        assert served.get("/api/history").json()[0]["says"] == "Edit"

    def test_asked_and_refused(self, served, page):
        """As the document says."""
        with served.connect() as other:
            rev = hello(other, "other")["rev"]
            edit(other, "first", rev, (["haze", "extinction"], 2))
            said(page, "edit")
            edit(page, "second", rev, (["haze", "extinction"], 3))
            conflict = said(page, "asked")["conflicts"][0]
            assert conflict["key"] == ["haze", "extinction"] and (conflict["theirs"], conflict["yours"], conflict["by"]) == (2, 3, "other")
        edit(page, "third", rev_of(served), (["haze", "extinction"], -3))
        fault = said(page, "refused")["faults"][0]
        assert fault["key"] == ["haze", "extinction"] and fault["line"] > 0 and fault["says"] and fault["remedy"]
        page.send(json.dumps({"do": "undo", "id": "nothing"}))
        assert "nothing to undo" in said(page, "refused")["faults"][0]["says"]

    def test_changed_by_hand(self, served, page):
        """The page hears of it, and of faults, without anybody asking."""
        text = served.scene.read_text()
        served.scene.write_text(text.replace("clip = 2", "clip = 3"))
        assert said(page, "outside")["rev"] == rev_of(served)
        served.scene.write_text("lamp = [")
        assert said(page, "outside_fault")["faults"][0]["line"] == 1
        edit(page, "waits", rev_of(served), (["scale"], 24))
        assert said(page, "refused")["id"] == "waits"
        assert served.get("/api/scene").json()["faults"]
        served.scene.write_text(text)
        said(page, "outside")
        assert served.get("/api/scene").json()["faults"] == [] and served.scene.read_text() == text

    def test_a_picture_of_a_drag(self, served, page):
        """A try is drawn, shown to others as being tried, and not kept."""
        rev = rev_of(served)
        with served.connect() as other:
            hello(other, "watcher")
            page.send(json.dumps({"do": "look", "shot": "past the table", "take_s": 0.1, "width": 160}))
            page.send(json.dumps({"do": "try", "seq": 1, "changes": [{"key": ["lamp", "key", "dim"], "to": 0.5}]}))
            assert said(other, "try")["changes"][0]["to"] == 0.5
            while (news := said(page, "picture", within=60))["seq"] != 1:
                pass
            page.send(json.dumps({"do": "try", "seq": 2, "changes": []}))
            assert said(other, "try")["changes"] == []
        assert served.get(f"/api/picture/{news['n']}").headers["content-type"] in ("image/webp", "image/png")
        assert rev_of(served) == rev and served.get("/api/picture/999999").status_code == 404
        page.send(json.dumps({"do": "try", "seq": 3, "changes": [{"key": ["lamp", "key", "dim"], "to": 7}]}))
        assert said(page, "refused")["seq"] == 3

    def test_what_is_let_go_is_not_tried_any_more(self, served, page):
        """Put into the file or refused: pictures are of the file again, and others are told."""
        page.send(json.dumps({"do": "look", "shot": "past the table", "take_s": 0.1, "width": 160}))
        rev = rev_of(served)
        with served.connect() as other:
            hello(other, "watcher")
            for seq, dim in ((4, 0.7), (5, 9)):
                page.send(json.dumps({"do": "try", "seq": seq, "changes": [{"key": ["lamp", "key", "dim"], "to": 0.6}]}))
                assert said(other, "try")["changes"]
                edit(page, f"let go {seq}", rev, (["lamp", "key", "dim"], dim))
                assert said(page, "edit", "refused")["id"] == f"let go {seq}"
                assert said(other, "try")["changes"] == []
                while said(page, "picture", within=60)["seq"] is not None:
                    pass
                rev = rev_of(served)


plain = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**20), 10**20) | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=8,
)
part = st.sampled_from(["lamp", "key", "at", "haze", "shot", "opening", "window", "prop", "finish", "", 0, -1, 10**9, "past the table", "name", "a\x00b", "\ud800"]) | st.text(max_size=6) | plain
message = st.fixed_dictionaries(
    {"do": st.sampled_from(["edit", "try", "undo", "redo", "back_to", "look", "hello", "", "nothing"]) | plain},
    optional={
        "id": st.text(min_size=1, max_size=5) | plain,
        "base": st.integers(-2, 5) | plain,
        "rev": st.integers(-2, 5) | plain,
        "seq": st.integers(0, 9) | plain,
        "changes": st.lists(st.fixed_dictionaries({"key": st.lists(part, max_size=5)}, optional={"to": plain}) | plain, max_size=3) | plain,
        "says": plain,
        "shot": st.just("past the table") | plain,
        "take_s": st.floats(0, 9) | plain,
        "width": st.integers(100, 200) | plain,
        "who": plain,
        "answer": plain,
    },
)
raw = st.text(max_size=50) | st.sampled_from(["", "null", "[" * 5000, '{"a":' * 3000, "1e999", '{"do":"edit","id":"x","base":1,"changes":[{"key":["scale"],"to":' + "9" * 5000 + "}]}", '{"do":"hello"}', "x" * 70_000])


class TestFuzz:
    """Whatever is sent, the answer is words."""

    def test_of_the_socket(self, served, page):
        """No socket is closed, no traceback is told, and the bench goes on."""
        count = 0

        @settings(max_examples=20, deadline=None, suppress_health_check=list(HealthCheck), database=None)
        @given(st.lists(message.map(json.dumps) | raw, min_size=1, max_size=8))
        def fuzzed(texts):
            nonlocal count
            for text in texts:
                page.send(text.encode("utf-8", "replace").decode())
            page.send(b"\x00\xff")
            # The answer to this comes after all others.
            count += 1
            page.send(json.dumps({"do": "back_to", "id": f"end-{count}", "rev": 2**50}))
            while True:
                answer = json.loads(page.recv(timeout=20))
                assert "Traceback" not in json.dumps(answer) and "0x" not in json.dumps(answer)
                assert answer["did"] != "fault", answer
                if answer.get("id") == f"end-{count}":
                    break

        fuzzed()
        assert served.process.poll() is None and served.get("/api/scene").status_code == 200

    def test_of_the_addresses(self, served):
        """As the API describes itself: no answer that it does not describe, none of 500, every refusal in words."""
        described = schemathesis.openapi.from_dict(served.get("/api/openapi.json").json())
        held = {"Origin": served.address, "Cookie": "; ".join(f"{name}={value}" for name, value in served.device.cookies.items())}
        checks = [schemathesis.checks.CHECKS.get_one(name) for name in ("not_a_server_error", "status_code_conformance", "response_schema_conformance", "content_type_conformance")]
        for found in described.get_all_operations():
            operation = found.ok()
            if (operation.method.upper(), operation.path) in (("POST", "/api/jobs"), ("POST", "/api/pair"), ("GET", "/api/walk")):
                continue  # Would start work of minutes; would run into the limit on wrong codes; takes the engine seconds.

            @settings(max_examples=2, deadline=None, suppress_health_check=list(HealthCheck), database=None, phases=[Phase.generate])
            @given(case=operation.as_strategy())
            def fuzzed(case):
                case.headers.update(held)
                case.cookies.clear()
                answer = case.call(base_url=served.address, timeout=60)
                case.validate_response(answer, checks=checks)
                if answer.status_code >= 400:
                    assert set(answer.json()) == {"says"} and "Traceback" not in answer.text

            fuzzed()

    @settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck), database=None)
    @given(body=st.fixed_dictionaries({"verb": st.sampled_from(["make", "cut", "aim", "rm -rf", ""]) | plain, "options": st.dictionaries(st.sampled_from(["-o", "output", "scene", "../x", "", "workers"]), plain, min_size=1, max_size=3)}))
    def test_of_jobs(self, served, body):
        """No option that is not on the list, and no path, reaches a command line."""
        answer = served.post("/api/jobs", data=json.dumps(body).encode("utf-8", "replace"), headers={"Content-Type": "application/json"})
        assert answer.status_code == 422 and answer.json()["says"]


def test_killed_and_started_again(tmp_path):
    """200 edits of two clients, the server killed twice: nothing that was told is lost. `tests/soak` has the long form."""
    soaking = Soaking(tmp_path, edits=200, kills=2, seed=1)
    soaking.run()
    soaking.check()
