"""How much the server takes in from whom: bytes of a request, connections, and time for a request to arrive."""

from __future__ import annotations

import ipaddress
from dataclasses import dataclass

from kits.exchange.reading.file_guard import MOST_BYTES

KIB = 2**10
NETWORK_OF_ONE = 64
"""Of an IPv6 address, the bits that its owner does not choose himself: RFC 4291 section 2.5.4."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """What the server takes in. The sizes are in bytes, the times in seconds; all by own judgement.

    A shop has a few dozen screens, each with up to six connections, and several may share one address.
    """

    connections: int = 400
    connections_of_one: int = 60
    header_bytes: int = 32 * KIB
    body_bytes: int = MOST_BYTES + 1024 * KIB
    body_bytes_of_strangers: int = 8 * KIB
    idle_seconds: int = 75
    arrival_seconds: int = 20
    bytes_a_second: int = 16 * KIB
    look_every_seconds: int = 5

    def seconds_to_arrive(self, received: int) -> float:
        """How long a request may take until it is whole, by what of its body is here already."""
        return self.arrival_seconds + received / self.bytes_a_second


def share_of(address: str) -> str:
    """Return what counts as one address: of IPv6 the network that one house is given."""
    try:
        found = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    if isinstance(found, ipaddress.IPv6Address):
        if found.ipv4_mapped is not None:
            return str(found.ipv4_mapped)
        return str(ipaddress.ip_network((found, NETWORK_OF_ONE), strict=False))
    return str(found)
