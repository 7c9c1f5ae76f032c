from django.apps import AppConfig


class CatalogConfig(AppConfig):
    name = "kits.catalog"
    label = "catalog"
    verbose_name = "Items, structure and kits"
