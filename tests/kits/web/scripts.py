"""A script in every text that the tables hold."""

from django.apps import apps
from django.db import DataError, IntegrityError, models, transaction

from kits.catalog.caching.revisions import mark_catalog, mark_shop
from kits.catalog.models import Setting

SCRIPT = "\"'><script>alert(1)</script>"
RAW, AS_TEXT = b"<script>alert(1)", b"&lt;script&gt;alert(1)"
WORDS_OF_THE_SHOP = ("shop_name", "shop_address", "shop_contact")
NOT_TYPED = {
    "folded",
    "key",
    "key_digest",
    "digest",
    "password",
    "username",
    "worker",
    "marks",
    "meant",
    "media_type",
    "option",
    "default_option",
}
"""Columns that the program fills in by itself and looks things up by, and conditions, which have a grammar."""


def typed_columns(named):
    """Every text column that may hold any words; not those by which the addresses of pages name things."""
    for table in apps.get_models():
        if not table.__module__.startswith("kits.") or table is Setting or not table._meta.managed:
            continue
        for column in table._meta.local_fields:
            is_text = isinstance(column, (models.CharField, models.TextField)) and not column.choices
            short = (column.max_length or len(SCRIPT)) < len(SCRIPT)
            if not is_text or short or column.unique or column.name in NOT_TYPED:
                continue
            if not table._base_manager.filter(**{f"{column.name}__in": named}).exists():
                yield table, column.name


def write_scripts(named):
    """Write a script into each text column that takes it; how many did."""
    taken = 0
    for table, column in list(typed_columns(named)):
        try:
            with transaction.atomic():
                taken += bool(table._base_manager.update(**{column: SCRIPT}))
        except (IntegrityError, DataError):
            continue  # a constraint has a say in what stands there
    for name in WORDS_OF_THE_SHOP:
        Setting.objects.update_or_create(name=name, defaults={"value": SCRIPT})
    mark_catalog()
    mark_shop()
    return taken
