from django.apps import AppConfig


class PurchasingConfig(AppConfig):
    name = "kits.purchasing"
    label = "purchasing"
    verbose_name = "Suppliers and orders"
