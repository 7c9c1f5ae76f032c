from django.apps import AppConfig
from django.conf import settings


class WebConfig(AppConfig):
    name = "kits.web"
    label = "web"
    verbose_name = "Pages"

    def ready(self) -> None:
        """Refuse statements in templates where a developer will see it."""
        if settings.DEBUG:
            from kits.web.render_guard import guard_rendering

            guard_rendering()
