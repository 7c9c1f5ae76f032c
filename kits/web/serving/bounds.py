"""How much the server takes in: bytes of a request, connections, and time for a request to arrive."""

from __future__ import annotations

from dataclasses import dataclass

from kits.exchange.files.file_guard import MOST_BYTES

KIB = 2**10


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
