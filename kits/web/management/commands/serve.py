"""``manage.py serve``: the site for a whole shop, on any system."""

from __future__ import annotations

import signal
import sys
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.core.wsgi import get_wsgi_application
from django.db import connection

from kits.exchange.copies.in_service import SiteIsClosed, in_service
from kits.exchange.ready_database import keep_to_the_file_that_is_there, refuse_missing_tables

PORT = 8000


class Command(BaseCommand):
    help = "Serves the site to the browsers of the shop; stop it with Ctrl-C."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--listen",
            default=f"127.0.0.1:{PORT}",
            metavar="ADDRESS:PORT",
            help=f"default 127.0.0.1:{PORT}; 0.0.0.0 is all",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        refuse_missing_tables()
        try:
            with in_service():
                self.serve(options["listen"])
        except SiteIsClosed as error:
            raise CommandError(str(error)) from error

    def serve(self, listen: str) -> None:
        """Listen, say so, and answer until it is stopped."""
        from kits.web.serving.server import make_server, proxy_arguments

        # What stops services ends this one as Ctrl-C does, so that nothing of it is left lying.
        signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
        connection.close()  # each thread of the server opens its own
        try:
            server = make_server(get_wsgi_application(), listen, **proxy_arguments())
        except (OSError, ValueError) as error:
            raise CommandError(
                f"cannot listen on {listen!r} ({error}): give --listen a free address and port."
            ) from error
        keep_to_the_file_that_is_there()
        scheme = "https behind your proxy" if settings.SECURE else "http"
        places = ", ".join(
            f"[{host}]:{port}" if ":" in host else f"{host}:{port}" for host, port in server.effective_listen
        )
        self.stdout.write(f"Serving {', '.join(settings.ALLOWED_HOSTS)} on {places} ({scheme}).")
        self.stdout.flush()
        server.run()
