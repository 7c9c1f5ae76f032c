from django.apps import AppConfig


class ServiceConfig(AppConfig):
    name = "kits.service"
    label = "service"
    verbose_name = "Work of the service lead"
