"""Jobs, what they hold and what was found on them, closed days and settings."""

from __future__ import annotations

from datetime import date

from kits.exchange.columns.kinds import (
    EXAMPLE_DAY,
    PRIORITY,
    QUANTITY,
    UNIT,
    mark_column,
    part_column,
    word_column,
    yes_no_column,
)
from kits.exchange.columns.layout import Column, Layout

SCHEDULE = Layout(
    "Schedule",
    "job",
    (
        mark_column("job", key=True, required=True, brings="job"),
        part_column("pump", is_a="pump"),
        Column("scope", required=True, longest=100, names="scope", within="pump"),
        Column("build_date", "day", required=True, also=("build",)),
        Column("quantity", "whole", default="1", least=1, most=1000, also=("qty", "pumps")),
        Column("batch", "mark", longest=100),
        PRIORITY,
        Column("option", "options", longest=500, also=("options",)),
        word_column("cleanliness", "normal oxygen_clean lubricant_free", default="normal", also=("service_class",)),
        yes_no_column("use_kits"),
        mark_column("serial"),
        Column("customer", longest=200),
        Column("strip_date", "day", also=("strip",)),
        word_column("stage", "expected here stripped building built tested shipped held cancelled", default="expected"),
        Column("held_because", longest=500),
    ),
    also=("jobs",),
    pasted=("job", "pump", "scope", "build_date", "quantity", "batch", "serial", "customer"),
    example={
        "job": "EXAMPLE-J1",
        "pump": "EXAMPLE-PUMP",
        "scope": "full reseal",
        "build_date": EXAMPLE_DAY,
        "batch": "spring",
    },
    notes={
        "job": "Number of the job.",
        "build_date": "Day on which it is built.",
        "quantity": "Pumps of this kind in the job.",
        "batch": "Batch that it is built in.",
        "option": "Answers for this job, such as compound=FKM.",
        "serial": "Serial number of the pump.",
        "customer": "Whose pump it is.",
        "strip_date": "Day on which it is opened.",
        "stage": "How far it has come; a job known here is built, tested and shipped on its page.",
        "held_because": "Why it is held; needed when it is.",
    },
)


OTHER_NEEDS = Layout(
    "OtherNeeds",
    "need",
    (
        mark_column("need", key=True, required=True),
        part_column(),
        QUANTITY,
        UNIT,
        Column("need_date", "day", required=True),
        Column("for_whom", longest=200),
        PRIORITY,
    ),
    example={"need": "EXAMPLE-van", "part_number": "EXAMPLE-014", "quantity": 2, "need_date": EXAMPLE_DAY},
    notes={
        "need": "A name for it.",
        "need_date": "Day on which it is wanted.",
        "for_whom": "Who wants it.",
    },
)


ISSUED = Layout(
    "Issued",
    "issue",
    (
        mark_column("job", key=True, required=True, names="job"),
        part_column(key=True),
        mark_column("lot", key=True, required=True, names="lot"),
        QUANTITY,
        word_column("state", "reserved bagged issued returned", required=True, key=True),
        mark_column("place", names="place"),
    ),
    example={
        "job": "EXAMPLE-J1",
        "part_number": "EXAMPLE-014",
        "lot": "EXAMPLE-L1",
        "quantity": 2,
        "state": "reserved",
    },
    notes={
        "state": "Reserved on the shelf, in the job's bag, given out, or given back.",
        "place": "Shelf on which it is reserved, or where the bag stands.",
    },
)


VERDICTS = Layout(
    "Verdicts",
    "verdict",
    (
        mark_column("job", key=True, required=True, names="job"),
        Column("where", required=True, key=True, longest=300),
        part_column(key=True),
        word_column("verdict", "renew missing keep rework not_as_listed", required=True),
        Column("found", longest=500),
        Column("measured", longest=50),
        Column("limit", longest=50),
        Column("unit", longest=20),
        yes_no_column("with_group"),
    ),
    example={
        "job": "EXAMPLE-J1",
        "where": "pump 1 / END 1 / ball",
        "part_number": "EXAMPLE-BALL",
        "verdict": "renew",
        "found": "pitted",
    },
    notes={
        "where": "Pump, section and position, as the sheet of the job prints it.",
        "verdict": "What was decided on this position.",
        "found": "What was seen; with with_group no, why the position goes its own way.",
        "measured": "What was measured.",
        "limit": "The limit that it is held against.",
        "unit": "Unit of the measurement.",
        "with_group": "Whether the parts that are renewed together go with it.",
    },
)


FINDINGS = Layout(
    "Findings",
    "finding",
    (
        mark_column("job", key=True, required=True, names="job"),
        Column("finding", required=True, key=True, longest=200, names="finding"),
        part_column("section", required=False, key=True),
        Column("found_on", "day"),
        Column("note", longest=500),
    ),
    example={"job": "EXAMPLE-J1", "finding": "EXAMPLE: metal in the oil", "found_on": EXAMPLE_DAY},
    notes={
        "section": "Section in which it was found; blank is the whole pump.",
        "found_on": "Day on which it was found.",
    },
)


HOLIDAYS = Layout(
    "Holidays",
    "holiday",
    (Column("date", "day", required=True, key=True, also=("day",)), Column("name", longest=200)),
    example={"date": date(2026, 12, 25), "name": "EXAMPLE: a closed day"},
    notes={"date": "Day on which the shop is closed.", "name": "Why."},
    others_lean_on_it=True,
)


SETTINGS = Layout(
    "Settings",
    "setting",
    (mark_column("name", key=True, required=True, also=("setting",)), Column("value", "setting", longest=500)),
    example={"name": "EXAMPLE", "value": "currency, today, staging_days and others"},
    notes={
        "name": "Name of the setting: today, staging_days, workdays, currency, shop_name, pumps_a_day, scan_at_bin, "
        "arrivals and others; the README has the table of them.",
        "value": "Its value. What each setting may be, and what counts when it is left out, stands in the README's "
        "table of settings; a value that cannot be is refused.",
    },
    others_lean_on_it=True,
)
