"""From where somebody comes: what counts as one address."""

from __future__ import annotations

import ipaddress

from django.http import HttpRequest

NETWORK_OF_ONE = 64
"""Of an IPv6 address, the bits that its owner does not choose: RFC 4291 section 2.5.4."""


def one_address(address: str) -> str:
    """Return what counts as one address: of IPv6 the first of the network that one house is given."""
    try:
        found = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    if isinstance(found, ipaddress.IPv6Address):
        if found.ipv4_mapped is not None:
            return str(found.ipv4_mapped)
        return str(ipaddress.ip_network((found, NETWORK_OF_ONE), strict=False).network_address)
    return str(found)


def address_of(request: HttpRequest) -> str:
    """Return from where a request comes, as the server has it."""
    return one_address(request.META.get("REMOTE_ADDR", ""))
