"""
The door of the server: who asks, from where, how often and how much; and what every answer tells the browser not to do.

Stands around the application; hands on what may pass. Host and Origin are checked so that no other page in the maker's
browser can reach the bench, not even one whose name leads to this machine (DNS rebinding).

Sources: OWASP cheat sheets "Cross-Site Request Forgery Prevention" (Verifying Origin With Standard Headers) and "WebSocket
Security"; W3C Content Security Policy Level 3.
"""

from __future__ import annotations

import http.cookies
import json
import sys
import traceback
from collections import OrderedDict

from previz.bench.pairing import Bucket, Pairing

LARGEST_BODY = 64 * 1024
LARGEST_UPLOAD = 50_000_000
NOT_PAIRED = 4401
"""Close code of a socket without a session (RFC 6455: 4000 to 4999 are for private use)."""

KNOWN, STRANGERS = (100.0, 400.0), (20.0, 100.0)
"""Requests a second in the long run, and at once, of a device that is known and of all others at one address (own choice): scrubbing asks for a picture a frame."""

MOST_PEERS = 1000
_SAFE = ("GET", "HEAD")
_OPEN = ("/pair", "/api/pair", "/favicon.ico")

HEADERS = [
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), microphone=(), geolocation=()"),
    (b"x-frame-options", b"DENY"),
]


class Guard:
    """
    An application with its door.

    Parameters
    ----------
    app : ASGI application
    pairing : Pairing
    hosts : set of str
        The names, with the port, by which this server may be called: "127.0.0.1:8470".
    cookie : str
        Name of the session's cookie. It has the port in it: cookies of one name are shared by all ports of a host.
    """

    def __init__(self, app, pairing: Pairing, hosts: set[str], cookie: str):
        self.app, self.pairing, self.hosts, self.cookie = app, pairing, hosts, cookie
        self._buckets: OrderedDict[str, Bucket] = OrderedDict()

    async def __call__(self, scope, receive, send) -> None:
        if scope["type"] not in ("http", "websocket"):
            return await self.app(scope, receive, send)
        headers = {name.decode("latin-1").lower(): value.decode("latin-1") for name, value in scope["headers"]}
        # One host header, or none is believed.
        host = headers.get("host", "") if sum(name.lower() == b"host" for name, _ in scope["headers"]) == 1 else ""
        known = self.pairing.knows(self._secret(headers))
        scope.setdefault("state", {})["paired"] = known
        if scope["type"] == "websocket":
            await self._socket(scope, receive, send, headers, host, known)
        else:
            await self._request(scope, receive, send, headers, host, known)

    async def _socket(self, scope, receive, send, headers, host, known):
        if host not in self.hosts or headers.get("origin") != f"http://{host}":
            await receive()
            await send({"type": "websocket.close", "code": 1008})
        elif not known:
            # Only an accepted socket can be told why it is closed.
            await receive()
            await send({"type": "websocket.accept"})
            await send({"type": "websocket.close", "code": NOT_PAIRED, "reason": "this device has not given a code"})
        else:
            await self.app(scope, receive, send)

    async def _request(self, scope, receive, send, headers, host, known):
        path, method = scope["path"], scope["method"]
        begun = over = False

        async def answer(message):
            nonlocal begun
            if over:
                return
            if message["type"] == "http.response.start":
                begun = True
                given = {name.lower() for name, _ in message.get("headers", [])}
                # Names of the page's assets change with what is in them.
                kept = b"max-age=31536000, immutable" if path.startswith("/assets/") and message["status"] == 200 else b"no-store"
                extra = [*HEADERS, (b"content-security-policy", _policy(host).encode()), (b"cache-control", kept)]
                message = {**message, "headers": [*message.get("headers", []), *((name, value) for name, value in extra if name not in given)]}
            await send(message)

        if host not in self.hosts:
            return await _refuse(answer, 421, "This address is not that of the bench. Open the one that the terminal shows.")
        if method not in _SAFE and headers.get("origin") != f"http://{host}":
            return await _refuse(answer, 403, "Only the page of the bench itself may ask for this.")
        wait = self._bucket(self._secret(headers), KNOWN).wait() if known else self._bucket(_peer(scope), STRANGERS).wait()
        if wait:
            return await _refuse(answer, 429, "Too many requests at once. Wait a moment.", (b"retry-after", str(int(wait) + 1).encode()))
        if not known and path not in _OPEN and not path.startswith("/assets/"):
            if path == "/" and method in _SAFE:
                return await _refuse(answer, 303, "This device has to give a code first.", (b"location", b"/pair"))
            return await _refuse(answer, 401, "This device has not given a code, or not lately. Open /pair.")
        limit = LARGEST_UPLOAD if path == "/api/upload" else LARGEST_BODY
        too_large = f"That is too large: at most {limit / 1e6:.2g} MB are taken."
        announced = headers.get("content-length", "0")
        if announced.isdecimal() and int(announced) > limit:
            return await _refuse(answer, 413, too_large)
        taken = 0

        async def counted():
            nonlocal taken, over
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > limit:
                if not begun:
                    await _refuse(answer, 413, too_large)
                over = True
                raise OSError("more was sent than is taken")
            return message

        try:
            await self.app(scope, counted, answer)
        except OSError:
            pass  # The browser has gone, or was sent away.
        except Exception:
            traceback.print_exc(file=sys.stderr)
            if not begun:
                await _refuse(answer, 500, "This is a fault of previz, not of your file. The terminal shows more.")

    def _secret(self, headers) -> str:
        jar = http.cookies.SimpleCookie()
        try:
            jar.load(headers.get("cookie", ""))
        except http.cookies.CookieError:
            return ""
        return jar[self.cookie].value if self.cookie in jar else ""

    def _bucket(self, who, limit) -> Bucket:
        bucket = self._buckets.get(who) or Bucket(*limit)
        self._buckets[who] = bucket
        self._buckets.move_to_end(who)
        while len(self._buckets) > MOST_PEERS:
            self._buckets.popitem(last=False)
        return bucket


def _policy(host: str) -> str:
    """Nothing from elsewhere, no code and no style but what is served here as files, and no frame around it."""
    socket = f" ws://{host}" if host.replace(".", "").replace(":", "").isalnum() else ""
    return (
        f"default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; media-src 'self'; font-src 'self'; connect-src 'self'{socket}; "
        "worker-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
    )


def _peer(scope) -> str:
    return (scope.get("client") or ("", 0))[0]


async def _refuse(send, status, says, *headers):
    body = json.dumps({"says": says}).encode()
    await send({"type": "http.response.start", "status": status, "headers": [(b"content-type", b"application/json"), (b"content-length", str(len(body)).encode()), *headers]})
    await send({"type": "http.response.body", "body": body})
