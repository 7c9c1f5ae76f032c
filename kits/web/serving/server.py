"""The server of the library, with bounds that it does not have itself.

It bounds the size of a request, all connections together and the time without a byte. It does not bound what one
address has of the connections, nor the time in which a request has to be whole, and whoever is refused a connection
holds up all others. Here whoever has too many loses the one that was silent longest, and nobody else any.
"""

from __future__ import annotations

import contextlib
import copy
import select
import socket
import time
from collections import Counter
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any

from django.conf import settings

from kits.people.addresses import one_address
from kits.web.serving.bounds import Bounds
from kits.web.serving.session_keys import bears_own_key

if TYPE_CHECKING:
    Application = Callable[..., Iterable[bytes]]
    Adjustments: Any
    MultiSocketServer: Any
    ThreadedTaskDispatcher: Any

    class TcpWSGIServer:
        """A socket that is listened at."""

        adj: Any
        active_channels: dict[int, BoundedChannel]
        effective_host: str
        effective_port: str
        _map: dict[int, Any]

        def __init__(self, application: Application, channels: dict[int, Any], **kwargs: Any) -> None: ...
        def maintenance(self, now: float) -> None: ...

    class HTTPChannel:
        """A connection."""

        adj: Any
        addr: tuple[str, int]
        creation_time: float
        last_activity: float
        request: Any
        requests: list[Any]
        socket: Any
        total_outbufs_len: int
        will_close: bool

        def __init__(self, server: BoundedServer, *args: Any, **kwargs: Any) -> None: ...
        def received(self, data: bytes) -> bool: ...

    class HTTPRequestParser:
        """A request that is being read."""

        adj: Any
        headers: dict[str, str]
        content_length: int
        expect_continue: bool

        def parse_header(self, header_plus: bytes) -> None: ...
else:
    from waitress.adjustments import Adjustments
    from waitress.channel import HTTPChannel
    from waitress.parser import HTTPRequestParser
    from waitress.server import MultiSocketServer, TcpWSGIServer
    from waitress.task import ThreadedTaskDispatcher

FULL = (
    b"HTTP/1.1 503 Service Unavailable\r\nRetry-After: 10\r\nConnection: close\r\nContent-Type: text/plain\r\n\r\n"
    b"Too many connections come from your address: close some, and try again in ten seconds.\n"
)


class BoundedParser(HTTPRequestParser):
    """A request; the body of one that brings no session of this site has to be small."""

    def parse_header(self, header_plus: bytes) -> None:
        """Read the head, and choose by it how long the body may be."""
        super().parse_header(header_plus)
        if not bears_own_key(self.headers.get("COOKIE", "")):
            self.adj = self.adj.for_strangers
        if self.content_length >= self.adj.max_request_body_size:
            self.expect_continue = False  # else the body would be asked for that is refused


class BoundedChannel(HTTPChannel):
    """A connection that is closed when a request takes too long to arrive, or an answer to be fetched."""

    parser_class = BoundedParser

    def __init__(self, server: BoundedServer, *args: Any, **kwargs: Any) -> None:
        super().__init__(server, *args, **kwargs)
        self.began_at = self.creation_time
        self.used = False
        self.share = server.share_of(self.addr)
        server.make_room(self)

    def received(self, data: bytes) -> bool:
        """Take in what came, and note when a request began."""
        before = self.request
        went_on = super().received(data)
        if self.request is not before:
            self.began_at = time.time()
        self.used = self.used or self.request is None
        return went_on

    @property
    def is_idle(self) -> bool:
        """Whether nothing is worked on for it or on its way to it."""
        return not self.requests and not self.total_outbufs_len

    def overstays(self, now: float, bounds: Bounds) -> bool:
        """Whether its time is over."""
        if self.total_outbufs_len:
            return now - self.last_activity > bounds.idle_seconds
        if self.requests:
            return False
        if self.request is None:
            return not self.used and now - self.creation_time > bounds.arrival_seconds
        return now - self.began_at > bounds.seconds_to_arrive(self.request.body_bytes_received)

    def refuse(self) -> None:
        """Say that there are too many, and close."""
        with contextlib.suppress(OSError):
            self.socket.send(FULL)
        self.hang_up()

    def hang_up(self) -> None:
        """Close soon; an answer that nobody fetches would otherwise be waited for until its socket takes more."""
        self.will_close = True
        with contextlib.suppress(OSError):
            self.socket.shutdown(socket.SHUT_RDWR)


class BoundedServer(TcpWSGIServer):
    """A socket that is listened at, which shares the connections out between the addresses."""

    channel_class = BoundedChannel

    def share_of(self, addr: tuple[str, int]) -> str:
        """Whose share a connection counts to; empty for the proxy that is trusted, since many stand behind it."""
        return "" if addr[0] == self.adj.trusted_proxy else one_address(addr[0])

    def make_room(self, newcomer: BoundedChannel) -> None:
        """Where one more is too many, close the connection of its share that was silent longest, or refuse it."""
        bounds: Bounds = self.adj.bounds
        open_now = [one for one in self._map.values() if isinstance(one, BoundedChannel) and not one.will_close]
        shares = Counter(one.share for one in open_now)
        if newcomer.share and shares[newcomer.share] > bounds.connections_of_one:
            crowd = newcomer.share
        elif len(open_now) > bounds.connections:
            ((crowd, _),) = shares.most_common(1)
        else:
            return
        idle = [one for one in open_now if one.share == crowd and one.is_idle and one is not newcomer]
        if idle:
            min(idle, key=lambda one: one.last_activity).hang_up()
        else:
            newcomer.refuse()

    def maintenance(self, now: float) -> None:
        """Close what has been silent or on its way for too long."""
        super().maintenance(now)
        for channel in self.active_channels.values():
            if channel.overstays(now, self.adj.bounds):
                channel.hang_up()


def make_server(
    application: Application, listen: str, *, threads: int = 8, bounds: Bounds | None = None, **more: Any
) -> Any:
    """Return a server that listens at the addresses and waits to be run; `close` ends it."""
    bounds = bounds or Bounds()
    adjustments = Adjustments(
        listen=listen,
        threads=threads,
        asyncore_use_poll=hasattr(select, "poll"),
        channel_timeout=bounds.idle_seconds,
        cleanup_interval=bounds.look_every_seconds,
        # Never reached, for beyond it the server would listen to nobody.
        connection_limit=bounds.connections + 50,
        max_request_header_size=bounds.header_bytes,
        max_request_body_size=bounds.body_bytes,
        **more,
    )
    adjustments.bounds = bounds
    adjustments.for_strangers = copy.copy(adjustments)
    adjustments.for_strangers.max_request_body_size = bounds.body_bytes_of_strangers
    dispatcher = ThreadedTaskDispatcher()
    channels: dict[int, Any] = {}
    servers = [
        BoundedServer(application, channels, dispatcher=dispatcher, adj=adjustments, sockinfo=sockinfo)
        for sockinfo in adjustments.listen
    ]
    dispatcher.set_thread_count(threads)
    listening = [(server.effective_host, server.effective_port) for server in servers]
    return MultiSocketServer(channels, adjustments, listening, dispatcher)


def proxy_arguments() -> dict[str, Any]:
    """Return what lets the server believe a proxy on this machine; without https nobody is believed."""
    if not settings.SECURE:
        return {}
    return {"trusted_proxy": "127.0.0.1", "trusted_proxy_headers": {"x-forwarded-for", "x-forwarded-proto"}}
