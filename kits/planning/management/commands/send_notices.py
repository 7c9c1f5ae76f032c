"""``manage.py send_notices``: mail what people want to be told, from a timer."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from kits.planning.notices.sending import send_notices
from kits.planning.words.states import plural


class Command(BaseCommand):
    """Sends each notice once, however often it is run."""

    help = "Mails what people asked to be told: their morning letter, broken promises, suspect lots."
    requires_system_checks = ()  # which would load every page

    def handle(self, *args: Any, **options: Any) -> None:
        """Send what is due, and say how many."""
        if not settings.EMAIL_HOST:
            raise CommandError("no mail server is named: set EMAIL_HOST, and what it asks for besides.")
        run = send_notices(at=timezone.now())
        if run.stopped:
            raise CommandError(f"{run.stopped}: {plural(run.sent, 'notice')} sent, the next run tries the others.")
        self.stdout.write(f"{plural(run.sent, 'notice')} sent.")
