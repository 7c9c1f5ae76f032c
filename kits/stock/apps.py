from django.apps import AppConfig
from django.db.models.signals import post_migrate

from kits.stock.migrations._written_once import guard_tables


class StockConfig(AppConfig):
    name = "kits.stock"
    label = "stock"
    verbose_name = "Lots and movements"

    def ready(self) -> None:
        """Keep the guards of the ledger in place whenever tables have changed."""
        post_migrate.connect(guard_tables, sender=self, dispatch_uid="stock.guard_tables")
