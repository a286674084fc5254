"""
Who may come to the bench: one-time codes that a maker reads off the terminal, and what a device keeps once it has given one.

Takes codes as typed; gives session secrets. Only hashes of secrets are kept on the disk; no secret stands in a log or in an
address that a server sees.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import secrets
import threading
import time
from collections.abc import Callable
from pathlib import Path

from previz.scene.files import replacing

LETTERS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
"""Of a code that is typed: none that is taken for another."""

CODE_S, SESSION_S = 600, 7 * 86400
"""How long a code waits to be used, and how long a device that used one is known (own choice)."""

MOST_SESSIONS = 50
ATTEMPTS, ATTEMPT_S = 5, 12.0
"""So many wrong codes in a row, then one every so many seconds (own choice)."""


class Bucket:
    """A limit on how often something is done: `burst` times at once, `rate` a second in the long run."""

    def __init__(self, rate: float, burst: float, clock: Callable[[], float] = time.monotonic):
        self.rate, self.burst, self._clock = rate, burst, clock
        self._left, self._at = burst, clock()

    def wait(self, cost: float = 1.0) -> float:
        """Take `cost` where it is there and return 0, else the seconds until it will be."""
        now = self._clock()
        self._left = min(self.burst, self._left + (now - self._at) * self.rate)
        self._at = now
        if self._left >= cost:
            self._left -= cost
            return 0.0
        return (cost - self._left) / self.rate


class Pairing:
    """
    The codes that are open and the devices that are known.

    Parameters
    ----------
    kept : Path
        File that remembers devices while the bench is closed.
    """

    def __init__(self, kept: Path):
        self._kept = kept
        self._alone = threading.Lock()
        self._codes: dict[bytes, float] = {}
        self._attempts = Bucket(1 / ATTEMPT_S, ATTEMPTS)
        self._sessions = self._read()

    def new_code(self, typed: bool) -> str:
        """Return a code that can be used once within CODE_S: short to be typed, or long to be followed."""
        code = "".join(secrets.choice(LETTERS) for _ in range(8)) if typed else secrets.token_urlsafe(18)
        with self._alone:
            self._drop_old()
            self._codes[_hash(_bare(code))] = time.time() + CODE_S
        return f"{code[:4]}-{code[4:]}" if typed else code

    def any_code(self) -> bool:
        """Return whether a code is still open."""
        with self._alone:
            self._drop_old()
            return bool(self._codes)

    def use(self, code: str) -> tuple[str | None, float]:
        """Return (a session's secret, 0) for a code that is right, which is used up by that; else (None, seconds to wait or 0)."""
        given = _hash(_bare(code))
        with self._alone:
            self._drop_old()
            wait = self._attempts.wait()
            if wait:
                return None, wait
            # All are compared, each in constant time, so that nothing is learnt from how long it takes.
            right = [known for known in self._codes if hmac.compare_digest(known, given)]
            if not right:
                return None, 0.0
            self._attempts = Bucket(1 / ATTEMPT_S, ATTEMPTS)
            del self._codes[right[0]]
            secret = secrets.token_urlsafe(32)
            self._sessions[_hash(secret).hex()] = time.time() + SESSION_S
            self._write()
            return secret, 0.0

    def knows(self, secret: str) -> bool:
        """Return whether a session's secret is one that was given out here."""
        given, now = _hash(secret).hex(), time.time()
        with self._alone:
            return any([hmac.compare_digest(known, given) and now < until for known, until in self._sessions.items()])

    def _drop_old(self):
        now = time.time()
        self._codes = {code: until for code, until in self._codes.items() if now < until}

    def _read(self) -> dict[str, float]:
        try:
            held = json.loads(self._kept.read_text(encoding="utf-8"))
            return {str(known): float(until) for known, until in held.items() if float(until) > time.time()}
        except (OSError, ValueError, AttributeError, TypeError):
            return {}

    def _write(self):
        newest = sorted(self._sessions.items(), key=lambda one: one[1])[-MOST_SESSIONS:]
        self._sessions = dict(newest)
        with replacing(self._kept) as temporary:
            temporary.chmod(0o600)
            temporary.write_text(json.dumps(self._sessions), encoding="utf-8")


def _bare(code: str) -> str:
    """A code as it is compared: short ones in capitals without what stands between."""
    plain = "".join(c for c in code if c.isalnum()).upper()
    return plain if len(plain) == 8 else code.strip()


def _hash(secret: str) -> bytes:
    return hashlib.sha256(secret.encode("utf-8", "replace")).digest()
