"""What the service lead of the demo shop has entered by hand: test limits, gauges and hours, all of them invented."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal

from kits.catalog.models import Item
from kits.service.quoting.actions import set_hours
from kits.service.testing.actions import LimitSaid, set_gauge, set_limits

WHY = "invented for the demo"
STALL = {"SKARN-64S": (365, 390), "SKARN-64T": (365, 390), "SKARN-144T": (820, 880), "SKARN-114S": (650, 695)}
"""Pressure at stall in bar at 6 bar of air; about the area ratio times 6."""
HOURS = {"D6": "2.5", "D4": "2.25", "CV": "1", "MF": "0.25", "JT6": "0.5", "JT4": "0.5", "E34": "1.75", "E12": "1.75",
         "E38": "1.5", "CK-M": "0.5", "CK-S": "0.5"}  # fmt: skip
GAUGES = (
    ("PG-1", "0 to 1000 bar", date(2025, 10, 1), date(2027, 9, 30), "invented 0417"),
    ("PG-2", "0 to 600 bar", date(2025, 2, 3), date(2026, 2, 2), "invented 0388"),
)
"""The second one is past its day when the story begins, so that it is refused."""


def enter_lead_tables(at: datetime) -> None:
    """Enter limits, gauges and hours once the lists of the demo shop are loaded."""
    items = {item.part_number: item for item in Item.objects.filter(part_number__in={*STALL, *HOURS})}
    for pump, (least, most) in STALL.items():
        limits = {
            "stall": LimitSaid(Decimal(least), Decimal(most), "bar", "6 bar of air, outlet closed", WHY),
            "held": LimitSaid(Decimal(10), None, "min", "air shut off at stall", WHY),
            "fall": LimitSaid(None, Decimal(6), "bar", "over the minutes held", WHY),
            "leak_out": LimitSaid(None, Decimal(0), "drops/min", "card along the gland and the joints", WHY),
            "leak_in": LimitSaid(None, Decimal(5), "drops/min", "at the vent port", WHY),
            "cycles": LimitSaid(Decimal(30), None, "cycles/min", "6 bar of air, outlet open", WHY),
        }
        set_limits(pump=items[pump], limits=limits, why=WHY, by=None, at=at)
    for gauge, reads, calibrated_on, due_on, certificate in GAUGES:
        set_gauge(
            gauge=gauge,
            reads=reads,
            calibrated_on=calibrated_on,
            due_on=due_on,
            certificate=certificate,
            why=WHY,
            by=None,
            at=at,
        )
    for section, hours in HOURS.items():
        set_hours(item=items[section], scope="", hours=Decimal(hours), why=WHY, by=None, at=at)
