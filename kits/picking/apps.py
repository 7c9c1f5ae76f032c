from django.apps import AppConfig


class PickingConfig(AppConfig):
    name = "kits.picking"
    label = "picking"
    verbose_name = "Picking"
