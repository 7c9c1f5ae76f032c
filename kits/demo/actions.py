"""What the invented shop has stated of places in its invented pumps: no figure here is that of a real pump."""

from __future__ import annotations

from decimal import Decimal

from django.db import transaction

from kits.catalog.caching.revisions import mark_shop
from kits.catalog.models import Item
from kits.service.models import Tightening, WearLimit

INVENTED = "invented for the demo, bench sheet 4"
LIMITS = (
    ("PL-34", "diameter", "19.02", None),
    ("PL-12", "diameter", "12.67", None),
    ("RB-34", "bore", None, "19.15"),
    ("RB-12", "bore", None, "12.8"),
    ("BA-716", "diameter", "11.1", None),
    ("BA-14", "diameter", "6.34", None),
    ("SG-M", "free length", "31.5", None),
    ("SG-S", "free length", "22", None),
    ("SG-P", "free length", "18", None),
    ("WB-6", "thickness", "2.4", None),
)
"""Part, what is measured, the least and the most, in millimetres."""
TIGHTENED = (
    ("NU-10L", "D6", "tie rods", "34 N m", "crosswise, in three steps", "torque wrench 10 to 60 N m"),
    ("GN-34", "E34", "gland nut", "55 N m", "in one go, plunger free to move", "pin spanner, torque wrench"),
)
"""Part, assembly and position, and how it is tightened; for all the rest the maker's manual is named."""


def store_bench_figures() -> None:
    """Store the limits and the figures once."""
    numbers = {row[0] for row in (*LIMITS, *TIGHTENED)} | {row[1] for row in TIGHTENED}
    items = {item.part_number: item for item in Item.objects.filter(part_number__in=numbers)}
    with transaction.atomic(durable=True):
        mark_shop()
        for part, measured, least, most in LIMITS:
            bounds = {"least": Decimal(least) if least else None, "most": Decimal(most) if most else None}
            facts = {"measured": measured, "unit": "mm", "source": INVENTED}
            WearLimit.objects.get_or_create(item=items[part], assembly=None, position="", defaults=bounds | facts)
        for part, assembly, position, figure, pattern, tool in TIGHTENED:
            how = {"figure": figure, "pattern": pattern, "tool": tool, "source": INVENTED}
            Tightening.objects.get_or_create(
                item=items[part], assembly=items[assembly], position=position, defaults=how
            )
