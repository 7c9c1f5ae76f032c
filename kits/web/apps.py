from django.apps import AppConfig


class WebConfig(AppConfig):
    name = "kits.web"
    label = "web"
    verbose_name = "Pages"
