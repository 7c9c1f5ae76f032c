"""What several web processes of one shop keep together, in the cache server that ``CACHE_URL`` names.

Everything in it can be worked out again. So nothing here ever fails: an entry that is missing, damaged, of another
shop or of another version of the program is none, and while the server is away each process keeps to itself.

An entry is bytes under a name, of one state of the tables. It is signed with the shop's ``SECRET_KEY`` together with
both, and read by nobody unless the seal fits: who can write to the server cannot make the site read what they like.
"""

from __future__ import annotations

import importlib.metadata
import logging
import secrets
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from functools import cache
from hashlib import sha256
from pathlib import Path
from threading import Event, Thread
from typing import Any, TypeVar

from django.conf import settings
from django.core.cache import BaseCache, caches
from django.utils.crypto import constant_time_compare, salted_hmac

Answer = TypeVar("Answer")

ALIAS = "shared"
KEPT_SECONDS = 60 * 60
CLAIM_SECONDS = 20
"""How long others wait for the process that is working something out; after that it counts as gone."""
CLAIM_OUTLIVES_SECONDS = 6
"""How long a claim stands after the process that renews it was killed."""
REST_SECONDS = 10
"""How long a server that failed is left alone."""
SEAL_BYTES = 32

_log = logging.getLogger(__name__)


class Plain:
    """Hands bytes to the server as they are; Django would read what comes back as Python objects, whoever wrote it."""

    def dumps(self, value: bytes) -> bytes:
        """What is sent."""
        return value

    def loads(self, value: bytes) -> bytes:
        """What came back."""
        return value


class Shared:
    """The entries that the processes of a shop have in common; ``open_cache`` says where, None for nowhere."""

    def __init__(self, open_cache: Callable[[], BaseCache | None]) -> None:
        self._open = open_cache
        self._away_until = 0.0
        self._told = False
        self._claimed: dict[bytes, Event] = {}

    def __bool__(self) -> bool:
        """Whether there is anything to share now."""
        return time.monotonic() >= self._away_until and self._open() is not None

    def get(self, name: str, state: str) -> bytes | None:
        """The entry of this name, if it is of this state of the tables and whole."""

        def read(cache: BaseCache) -> bytes | None:
            # What the state is said to be is small, the entry may be large; the seal tells whether it is true.
            if cache.get(f"{_ours()}.{name}.state") != state.encode():
                return None
            kept = cache.get(f"{_ours()}.{name}")
            if not isinstance(kept, bytes) or len(kept) < SEAL_BYTES:
                return None
            content = kept[SEAL_BYTES:]
            return content if constant_time_compare(kept[:SEAL_BYTES], _seal(name, state, content)) else None

        return self._try(read, None)

    def put(self, name: str, state: str, content: bytes, seconds: int = KEPT_SECONDS) -> None:
        """Keep an entry in the place of that of an earlier state: there is never more than one of a name."""

        def write(cache: BaseCache) -> None:
            cache.set(f"{_ours()}.{name}", _seal(name, state, content) + content, seconds)
            cache.set(f"{_ours()}.{name}.state", state.encode(), seconds)

        self._try(write, None)

    def claim(self, name: str, state: str) -> bytes | None:
        """Say that this process works an entry out, and return the sign of it; None where another one does."""
        sign, on = secrets.token_bytes(12), _claim_on(name, state)
        # Where nobody can be asked, everybody works for himself.
        if not self._try(lambda cache: cache.add(on, sign, CLAIM_OUTLIVES_SECONDS), True):
            return None
        done = self._claimed[sign] = Event()
        with suppress(RuntimeError):  # a machine that can start no thread lets the claim end by itself
            Thread(target=self._keep_claim, args=(on, sign, done), name="keeps a claim", daemon=True).start()
        return sign

    def release(self, name: str, state: str, sign: bytes | None) -> None:
        """Say that it is done, or given up; without a sign nothing was claimed."""
        if not sign:
            return
        on = _claim_on(name, state)
        if done := self._claimed.pop(sign, None):
            done.set()

        def end(cache: BaseCache) -> None:
            if cache.get(on) == sign:
                cache.delete(on)

        self._try(end, None)

    def _keep_claim(self, on: str, sign: bytes, done: Event) -> None:
        """Renew a claim while this process is at it; it ends soon after a process that was killed."""

        def renew(cache: BaseCache) -> None:
            if cache.get(on) == sign:
                cache.touch(on, CLAIM_OUTLIVES_SECONDS)

        until = time.monotonic() + CLAIM_SECONDS
        while not done.wait(CLAIM_OUTLIVES_SECONDS / 4) and time.monotonic() < until:
            self._try(renew, None)

    def _try(self, work: Callable[[BaseCache], Answer], otherwise: Answer) -> Answer:
        if not self:
            return otherwise
        try:
            answer = work(self._open())  # type: ignore[arg-type]
        except Exception as error:  # whatever a server may do: no page may depend on it
            self._away_until = time.monotonic() + REST_SECONDS
            if not self._told:
                _log.warning("The cache server is away (%s): each process keeps its own plans.", error)
            self._told = True
            return otherwise
        if self._told:
            _log.warning("The cache server is back.")
        self._told = False
        return answer


def _named_cache() -> BaseCache | None:
    return caches[ALIAS] if ALIAS in settings.CACHES else None


shared = Shared(_named_cache)


@cache
def _version() -> str:
    """What changes with every change of the program: entries of another version are of no use."""
    found = sha256(f"{sys.version_info} {importlib.metadata.version('numpy')}".encode())
    for folder in ("bom", "kits"):
        for path in sorted(Path(settings.BASE_DIR, folder).rglob("*.py")):
            found.update(path.read_bytes())
    return found.hexdigest()


@cache
def _ours() -> str:
    """What the names of this shop's entries begin with: its database, its key and this version of the program."""
    base: dict[str, Any] = settings.DATABASES["default"]
    where = "|".join(str(base.get(part, "")) for part in ("ENGINE", "HOST", "PORT", "NAME"))
    return "bench." + salted_hmac("kits.shared.names", f"{where}|{_version()}", algorithm="sha256").hexdigest()[:24]


def _claim_on(name: str, state: str) -> str:
    return f"{_ours()}.{name}.{sha256(state.encode()).hexdigest()[:24]}.claim"


def _seal(name: str, state: str, content: bytes) -> bytes:
    head = f"{_ours()}|{name}|{state}|".encode()
    return salted_hmac("kits.shared", head + content, algorithm="sha256").digest()
