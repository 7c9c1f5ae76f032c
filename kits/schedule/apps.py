from django.apps import AppConfig


class ScheduleConfig(AppConfig):
    name = "kits.schedule"
    label = "schedule"
    verbose_name = "Batches and jobs"
