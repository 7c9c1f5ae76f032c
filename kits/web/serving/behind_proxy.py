"""Believes what a proxy says of who asks, and how, if it is one of ours; otherwise it is somebody's invention.

``serve`` has this from its library. Other servers hand the headers on as they come, and then everybody would have the
proxy's address, and one who guesses passwords would shut the way in for all.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Callable, Iterable, Sequence
from typing import Any

Application = Callable[[dict[str, Any], Any], Iterable[bytes]]
Networks = Sequence[ipaddress.IPv4Network | ipaddress.IPv6Network]


class BehindProxy:
    """An application that learns from the proxies of some networks, and from nobody else."""

    def __init__(self, application: Application, networks: Networks) -> None:
        self.application = application
        self.networks = networks

    def __call__(self, environ: dict[str, Any], start_response: Any) -> Iterable[bytes]:
        """Pass a request on with the address of whoever asked the proxy."""
        asked_from = environ.pop("HTTP_X_FORWARDED_FOR", "")
        scheme = environ.pop("HTTP_X_FORWARDED_PROTO", "")
        if self.is_ours(environ.get("REMOTE_ADDR", "")):
            # The last one is what our proxy saw; what stands before it anybody may have written.
            last = asked_from.rpartition(",")[2].strip()
            if _read(last):
                environ["REMOTE_ADDR"] = last
            if scheme in ("http", "https"):
                environ["wsgi.url_scheme"] = scheme
        return self.application(environ, start_response)

    def is_ours(self, address: str) -> bool:
        """Whether a proxy of ours stands there."""
        found = _read(address)
        return found is not None and any(found in network for network in self.networks)


def _read(address: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    try:
        return ipaddress.ip_address(address)
    except ValueError:
        return None
