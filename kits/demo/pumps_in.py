"""What no sheet of the demo holds: how its first pumps came, and the service lead's two tables."""

from __future__ import annotations

from datetime import UTC, datetime

from kits.catalog.models import Item
from kits.people.models import User
from kits.schedule.models import Job
from kits.service.actions import Came, write_arrival
from kits.service.rules.actions import say_of_sign, take_published_cautions

LIQUID_BACK, AIR, VENT = "liquid passes back", "air at the mufflers while it stands", "liquid at the vent port"
SIGNS = (
    (LIQUID_BACK, "CK-M", "check valves", "or the pressure falls with the outlet closed"),
    (LIQUID_BACK, "CK-S", "check valves", "or the pressure falls with the outlet closed"),
    (AIR, "CV", "air side", "hear it with the air on and the outlet closed, hands off"),
    (VENT, "E34", "one end", "both ends where both are wet"),
    (VENT, "E12", "one end", "both ends where both are wet"),
    (VENT, "E38", "full reseal", ""),
)
"""What was seen, where to look, which scope to suggest: three examples, as invented as the pumps."""
ARRIVALS = {
    "J-3101": Came(
        serial="H4-0117",
        model="SKARN-64T",
        fluid="mineral oil",
        flushed_by="North Basin Ferries, engine store",
        flushed_with="clean mineral oil, then drained",
        paper_seen=True,
        seen=VENT,
        agreed_with="Ms Tarrant, North Basin Ferries",
    ),
    "J-3103": Came(
        serial="H4-0301",
        model="skarn-144t",
        fluid="petroleum solvent",
        flushed_by="Lowmarsh Injectors",
        flushed_with="white spirit, blown through with nitrogen",
        paper_seen=True,
        missing="one muffler nut",
        agreed_with="Mr Oake, Lowmarsh Injectors",
    ),
    "J-3102": Came(
        serial="H4-0230",
        model="SKARN-64S",
        fluid="mineral oil",
        flushed_by="Hallowick Dry Dock",
        flushed_with="clean mineral oil",
        seen=LIQUID_BACK,
        note="came without its paper; the dock sends it on",
    ),
}
"""How three pumps came: the two that are open, and one that waits for its flushing note and for an agreed scope."""


CAME_AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


def bring_pumps_in(lead: User) -> None:
    """Write it in a shop that was just loaded, in the name of its lead."""
    at = CAME_AT
    take_published_cautions(by=lead, at=at, key="demo:cautions")
    for turn, (seen, section, scope, note) in enumerate(SIGNS):
        item = Item.objects.get(part_number=section)
        key, why = f"demo:sign:{turn}", "an invented example"
        say_of_sign(seen=seen, section=item, scope=scope, note=note, why=why, by=lead, at=at, key=key)
    for number, came in ARRIVALS.items():
        job = Job.objects.get(job=number)
        write_arrival(job=job, came=came, scope=job.scope, seen_at=None, by=lead, at=at, key=f"demo:{number}")
