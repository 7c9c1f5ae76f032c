from django.apps import AppConfig
from django.conf import settings


class WebConfig(AppConfig):
    name = "kits.web"
    label = "web"
    verbose_name = "Pages"

    def ready(self) -> None:
        """Let fields speak our words; refuse statements in templates where a developer will see it."""
        from kits.web.field_words import read_as_it_stands, use_own_words

        use_own_words()
        read_as_it_stands()
        if settings.DEBUG:
            from kits.web.render_guard import guard_rendering

            guard_rendering()
