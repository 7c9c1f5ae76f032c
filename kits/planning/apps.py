from django.apps import AppConfig


class PlanningConfig(AppConfig):
    name = "kits.planning"
    label = "planning"
    verbose_name = "The plan"
