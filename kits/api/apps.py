from django.apps import AppConfig


class ApiConfig(AppConfig):
    name = "kits.api"
    label = "api"
    verbose_name = "Interface for other programs"
