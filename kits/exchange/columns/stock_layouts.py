"""What lies where, and what is ordered from whom."""

from __future__ import annotations

from kits.exchange.columns.kinds import (
    EXAMPLE_DAY,
    QUANTITY,
    UNIT,
    mark_column,
    part_column,
    word_column,
)
from kits.exchange.columns.layout import Column, Layout

SUPPLIERS = Layout(
    "Suppliers",
    "supplier",
    (
        Column("supplier", "mark", required=True, key=True, longest=200, brings="supplier"),
        Column("currency", "mark", longest=10),
        Column("order_minimum_value", "money"),
        Column("small_order_charge", "money"),
        Column("certificate_charge", "money"),
        Column("transit_days", "whole", default="0", most=1000),
        Column("closed_from", "day"),
        Column("closed_to", "day"),
    ),
    example={"supplier": "EXAMPLE Rings", "currency": "EUR", "transit_days": 2},
    notes={
        "supplier": "Name of the supplier.",
        "order_minimum_value": "Smallest order value that is accepted.",
        "small_order_charge": "Charge for orders below that value.",
        "certificate_charge": "Charge for a certificate.",
        "transit_days": "Working days from dispatch to our door.",
        "closed_from": "First day of a closure.",
        "closed_to": "Last day of a closure.",
    },
    others_lean_on_it=True,
)


OFFERS = Layout(
    "Offers",
    "offer",
    (
        Column("supplier", "mark", required=True, key=True, longest=200, names="supplier"),
        part_column(key=True),
        mark_column("supplier_part_number", key=True),
        Column("pack_size", "quantity", default="1", key=True),
        Column("minimum_packs", "whole", default="1", least=1),
        Column("multiple_packs", "whole", default="1", least=1),
        Column("lead_time", "lead", also=("lead_days", "lead")),
        Column("price_per_pack", "money", also=("price",)),
        Column("currency", "mark", longest=10),
        Column("price_from_packs", "whole", default="1", least=1, key=True),
        Column("quoted_on", "day"),
        Column("valid_to", "day"),
    ),
    example={
        "supplier": "EXAMPLE Rings",
        "part_number": "EXAMPLE-014",
        "pack_size": 25,
        "lead_time": "2 w",
        "price_per_pack": 10,
    },
    notes={
        "supplier_part_number": "The number to order by.",
        "pack_size": "Stock units in one pack.",
        "minimum_packs": "Fewest packs in one order.",
        "multiple_packs": "Packs are sold in multiples of this.",
        "price_per_pack": "Price per pack.",
        "price_from_packs": "From how many packs the price holds; one row for each price break.",
        "quoted_on": "Day of the quotation.",
        "valid_to": "Last day on which the price holds.",
    },
)


PLACES = Layout(
    "Places",
    "place",
    (
        mark_column("place", key=True, required=True, brings="place"),
        Column("walk_order", "whole"),
        word_column("kind", "bin staging quarantine", default="bin"),
    ),
    example={"place": "EXAMPLE-A1", "walk_order": 10, "kind": "bin"},
    notes={
        "place": "Bin or shelf, as its label says.",
        "walk_order": "Number that sorts the places as one walks past them.",
        "kind": "A bin, a staging shelf, or quarantine.",
    },
    others_lean_on_it=True,
)


LOTS = Layout(
    "Lots",
    "lot",
    (
        part_column(key=True),
        mark_column("lot", key=True, required=True, brings="lot"),
        Column("quantity", "stock", required=True, also=("qty", "count")),
        UNIT,
        mark_column("place", key=True, required=True, also=("bin",), names="place"),
        Column("cure", "cure", also=("cured", "cure_date")),
        Column("last_use", "use_by", also=("last_use_date",)),
        Column("received", "day"),
        word_column("condition", "usable quarantine", default="usable", key=True),
        word_column("packet", "sealed resealed loose", default="sealed", key=True),
        mark_column("maker_batch"),
        mark_column("certificate"),
        Column("owner", longest=200),
    ),
    also=("stock",),
    pasted=("part_number", "lot", "quantity", "place", "cure", "received", "certificate"),
    example={
        "part_number": "EXAMPLE-014",
        "lot": "EXAMPLE-L1",
        "quantity": 12,
        "place": "EXAMPLE-A1",
        "cure": "4Q25",
    },
    notes={
        "quantity": "What lies there now. For a lot that is known already this is a count.",
        "cure": "Cure date of rubber: 4Q20, 2020-Q4 or a date.",
        "last_use": "Last day of use, if it stands on the packet.",
        "received": "Day on which it came in.",
        "condition": "Usable, or in quarantine.",
        "packet": "Sealed, opened and closed again, or loose.",
        "maker_batch": "Batch of the maker.",
        "certificate": "Number of the certificate.",
        "owner": "Customer to whom it belongs; blank is the shop.",
    },
)


KIT_CONTENTS = Layout(
    "KitContents",
    "piece of a kit",
    (
        part_column(key=True, also=("kit",), is_a="kit"),
        mark_column("lot", key=True, required=True, also=("kit_lot",), names="lot"),
        part_column("holds", key=True, also=("piece",)),
        mark_column("of_lot", key=True, also=("piece_lot",), names="lot", within="holds"),
        Column("quantity", "stock", required=True, also=("qty", "in_one_kit")),
        UNIT,
        Column("owed", "stock", default="0", also=("lacks",)),
    ),
    example={
        "part_number": "EXAMPLE-KIT",
        "lot": "EXAMPLE-K1",
        "holds": "EXAMPLE-014",
        "of_lot": "EXAMPLE-L1",
        "quantity": 2,
    },
    notes={
        "part_number": "Part number of the packed kit.",
        "lot": "Lot of the packed kit.",
        "holds": "Part number of the piece inside.",
        "of_lot": "Lot that the piece came from.",
        "quantity": "Pieces in one kit.",
        "owed": "Pieces that one kit still lacks.",
    },
    unit_of="holds",
)


ORDERS = Layout(
    "Orders",
    "order line",
    (
        mark_column("order", key=True, required=True, also=("purchase_order", "po")),
        Column("line", "mark", required=True, key=True, longest=50),
        Column("supplier", "mark", required=True, longest=200, names="supplier"),
        part_column(),
        QUANTITY,
        UNIT,
        Column("promised", "day", required=True, also=("promised_date",)),
    ),
    example={
        "order": "EXAMPLE-PO",
        "line": "1",
        "supplier": "EXAMPLE Rings",
        "part_number": "EXAMPLE-014",
        "quantity": 25,
        "promised": EXAMPLE_DAY,
    },
    notes={
        "order": "Number of the purchase order.",
        "line": "Line of the order.",
        "quantity": "What is still to come.",
        "promised": "Day at our door.",
    },
)
