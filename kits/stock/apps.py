from django.apps import AppConfig


class StockConfig(AppConfig):
    name = "kits.stock"
    label = "stock"
    verbose_name = "Lots and movements"
