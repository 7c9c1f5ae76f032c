"""The values that go into a plan. Frozen, plain, without behaviour.

Quantities are whole numbers of millionths of the item's stock unit (``ONE`` = one stock unit). Dates are calendar
dates, lead times are working days of the shop's calendar.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from fractions import Fraction

ONE = 1_000_000
"""Millionths in one stock unit."""

Options = tuple[tuple[str, str], ...]
"""Answers or conditions such as ``(("compound", "FKM"),)``: folded names and values, sorted by name."""

ASKING_STAGES = frozenset({"expected", "here", "stripped", "building"})
"""Stages in which a job asks for parts."""

PACKED_SOURCES = frozenset({"pack", "pack_else_buy", "make"})
"""Sources of what is put together here, from its own contents."""


@dataclass(frozen=True, slots=True)
class Item:
    """One thing with a part number.

    ``source`` is one of buy, pack, pack_else_buy, make, in_kit_only, in_assembly_only. ``lead_days`` is None when it
    is not known; for a packed kit it is the packing time. ``ageless`` parts
    (metal, PTFE: no shelf life is stated for them) ignore the packet; ``limited_life`` says that a lot without a date
    may not be used. ``bench`` items (grease, thread locker) never stand in requirements.
    """

    part_number: str
    kind: str = "part"  # part, assembly, kit, pump
    countable: bool = True
    source: str = "buy"
    get_as: str | None = None
    bench: bool = False
    lead_days: int | None = None
    safety_stock: int = 0
    how_sure_percent: float = 90.0
    limited_life: bool = False
    ageless: bool = False
    life_months: int | None = None
    resealed_usable: bool = True
    cleanliness: str = "normal"
    min_life_percent: int | None = None
    min_life_months: int | None = None
    default_options: Options = ()


@dataclass(frozen=True, slots=True)
class Line:
    """One structure line: ``parent`` holds ``quantity`` (millionths of the child's stock unit) of ``child``.

    ``at_rebuild`` is open, renew, inspect or keep; an empty text in the contents of kits and made assemblies.
    ``renewals_per_100`` is None when no rate is known. With ``quantity_is_for`` = whole_pump the quantity is the
    total in one ``pump`` and is divided by the number of instances of the parent in it.
    """

    parent: str
    child: str
    quantity: int
    at_rebuild: str = ""
    position: str = ""
    quantity_is_for: str = "one_parent"
    pump: str | None = None
    renewals_per_100: Fraction | None = None
    renew_together: str = ""
    renew_together_over: str = "assembly"
    options: Options = ()
    from_on: date | None = None
    to_on: date | None = None
    from_serial: str = ""
    to_serial: str = ""
    wetted: bool = False
    order: int = 0


@dataclass(frozen=True, slots=True)
class ScopeSection:
    """One row of a scope: ``how_many`` of ``section`` are opened in one ``pump``."""

    pump: str
    scope: str
    section: str
    how_many: int
    use_kits: bool = True
    options: Options = ()


@dataclass(frozen=True, slots=True)
class KitFit:
    """``kit`` does ``instances`` of the assembly ``fits``; kits of one ``set_name`` are alternatives."""

    kit: str
    fits: str
    options: Options = ()
    instances: int = 1
    set_name: str = ""
    preferred: bool = False


@dataclass(frozen=True, slots=True)
class Offer:
    """One row of a supplier's offer; rows that differ only in ``price_from_packs`` are its price breaks.

    ``pack_size`` is in millionths of the stock unit. ``lead_days`` without the transit days; None = not stated. On the
    days from ``closed_from`` to ``closed_to`` the supplier is closed (both are stated, or neither is). A price that is
    not in the shop's own money names its currency in ``foreign_currency``.
    """

    supplier: str
    part_number: str
    supplier_part_number: str = ""
    pack_size: int = ONE
    minimum_packs: int = 1
    multiple_packs: int = 1
    lead_days: int | None = None
    transit_days: int = 0
    price_per_pack: Decimal | None = None
    foreign_currency: str = ""
    price_from_packs: int = 1
    valid_to: date | None = None
    closed_from: date | None = None
    closed_to: date | None = None


@dataclass(frozen=True, slots=True)
class Lot:
    """What lies of one lot at one place in one condition and packet.

    ``last_use`` is already worked out (printed or computed).
    ``condition``: usable, quarantine (of the lot or of its place) or owing (kits that were robbed and not filled up
    again). ``packet``: sealed, resealed, loose. ``contents``
    is what was recorded of one kit of the lot, part numbers and millionths; None where only the list of the kit speaks.
    """

    part_number: str
    lot: str
    quantity: int
    place: str = ""
    condition: str = "usable"
    packet: str = "sealed"
    last_use: date | None = None
    received: date | None = None
    owner: str = ""
    contents: tuple[tuple[str, int], ...] | None = None


@dataclass(frozen=True, slots=True)
class OrderLine:
    """What is still to come on one line of an order; ``promised`` is the day at our door."""

    order: str
    line: str
    part_number: str
    quantity: int
    promised: date
    supplier: str = ""


@dataclass(frozen=True, slots=True)
class Job:
    """A rebuild of ``quantity`` equal pumps to one scope. ``options`` are the job's own answers only.

    ``strip`` counts how often the pump was opened in this rebuild: what is found after the first time has not been worn
    by use, and teaches no rate.
    """

    job: str
    pump: str
    scope: str
    build_on: date
    quantity: int = 1
    batch: str = ""
    priority: int = 5
    options: Options = ()
    cleanliness: str = "normal"
    use_kits: bool | None = None
    serial: str = ""
    customer: str = ""
    strip_on: date | None = None
    stage: str = "expected"
    strip: int = 1


@dataclass(frozen=True, slots=True)
class OtherNeed:
    """A need that is no rebuild: a kit sold at the door, the stock of a van."""

    need: str
    part_number: str
    quantity: int
    need_on: date
    for_whom: str = ""
    priority: int = 5


@dataclass(frozen=True, slots=True)
class Issue:
    """What has gone to a job, or is set aside for it. ``state``: reserved, bagged, issued, returned."""

    job: str
    part_number: str
    lot: str
    quantity: int
    state: str
    place: str = ""


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the strip report says of one inspected position.

    ``verdict``: renew, missing, keep, rework, not_as_listed. ``with_group`` None = not said, which follows the group;
    False = this position goes its own way; True on a renewal that has nothing ``found`` = it went along with its group.
    """

    job: str
    where: str
    part_number: str
    verdict: str
    found: str = ""
    with_group: bool | None = None


@dataclass(frozen=True, slots=True)
class FindingRule:
    """What a named ``finding`` means for each opened instance of an ``assembly``.

    ``effect`` add: ``quantity`` (millionths) of the part more are needed. ``effect`` renew: the inspected positions of
    the part anywhere inside the assembly are renewed, all of them when ``part_number`` is empty; no quantity then.
    """

    finding: str
    assembly: str
    effect: str
    part_number: str = ""
    quantity: int = 0
    note: str = ""


@dataclass(frozen=True, slots=True)
class Finding:
    """A named finding on a job. ``section`` is one of the job's scope; empty, it was found in all of them."""

    job: str
    finding: str
    section: str = ""
    found_on: date | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Catalog:
    """What the shop knows of its pumps. ``revision`` changes whenever any of it does."""

    items: tuple[Item, ...]
    lines: tuple[Line, ...]
    scopes: tuple[ScopeSection, ...] = ()
    kit_fits: tuple[KitFit, ...] = ()
    offers: tuple[Offer, ...] = ()
    revision: str = ""
    finding_rules: tuple[FindingRule, ...] = ()


@dataclass(frozen=True, slots=True)
class Shop:
    """Everything a plan is made from, frozen at one moment.

    ``jobs`` may hold jobs that no longer ask for parts: their verdicts teach the renewal rates, and what is reserved
    for them is left out of supply.
    """

    as_of: date
    catalog: Catalog
    staging_days: int = 1
    workdays: tuple[bool, ...] = (True, True, True, True, True, False, False)
    holidays: tuple[date, ...] = ()
    lots: tuple[Lot, ...] = ()
    orders: tuple[OrderLine, ...] = ()
    jobs: tuple[Job, ...] = ()
    needs: tuple[OtherNeed, ...] = ()
    issues: tuple[Issue, ...] = ()
    verdicts: tuple[Verdict, ...] = ()
    findings: tuple[Finding, ...] = ()
    stamp: str = field(default="", compare=False)
