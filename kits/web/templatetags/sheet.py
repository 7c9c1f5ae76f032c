"""What the templates of every sheet write alike: days, amounts, state marks, drawings and the front doors."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import date, datetime
from typing import Any
from urllib.parse import urlencode

from django import template
from django.template.context import Context
from django.urls import NoReverseMatch, reverse
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString

from kits.catalog.amounts import Amount
from kits.catalog.days.words import in_full, words_for_day
from kits.catalog.formats.in_force import formats
from kits.catalog.rings.sizes import in_both
from kits.people.models import User
from kits.planning.lists.buy_lists import WearList
from kits.planning.sheets.build_days import BuildWeek
from kits.planning.sheets.items.curves import Curves
from kits.planning.words.figure_heads import FigureHead
from kits.planning.words.stretches import Stretch
from kits.web.drawings import (
    STRIP_WIDTH,
    Axis,
    CurvePicture,
    Strip,
    draw_axis,
    draw_curves,
    draw_shares,
    draw_strip,
    draw_week,
)
from kits.web.lists import ShownList
from kits.web.request_keys import new_key

register = template.Library()

DOORS = (
    ("today", "Today"),
    ("schedule", "Schedule"),
    ("shortages", "Shortages"),
    ("picking", "Picking"),
    ("storeroom", "Storeroom"),
    ("purchasing", "Purchasing"),
    ("pumps_and_parts", "Pumps and parts"),
)
"""The front doors in the order of the work: the name of the address, and the word on the door."""

MARKS = {
    "ready": '<circle class="full" cx="6" cy="6" r="6"/>',
    "waiting": '<circle cx="6" cy="6" r="4.8"/>',
    "late": '<path class="full" d="M6 0 12 11.5H0Z"/>',
    "short": '<path d="M1 1 11 11M11 1 1 11"/>',
}
"""A shape for each state, told apart without colour: a filled disc, a ring, a triangle, a cross."""


WEAR_SAYS = {
    "order": "to order before the pumps are opened",
    "decide_after_strip": "to decide after the strip-down",
    "only_if_found": "to order only if found worn",
    "covered_late": "covered, but late",
    "covered": "covered",
}
WEAR_MARKS = {
    "order": "short",
    "decide_after_strip": "waiting",
    "only_if_found": "late",
    "covered_late": "late",
    "covered": "ready",
}


@register.inclusion_tag("web/pieces/doors.html", takes_context=True)
def doors(context: Context) -> dict[str, Any]:
    """The front doors that lead somewhere, the search field, and who is signed in."""
    request = context.get("request")
    person = getattr(request, "user", None)
    here = context.get("door", "")
    return {
        "doors": [
            {"url": address, "name": word, "here": name == here}
            for name, word in DOORS
            if (address := address_of(name))
        ],
        "signed_in": bool(person and person.is_authenticated),
        "person": person.get_full_name() or person.get_username() if person and person.is_authenticated else "",
        "ways": ways_of(request, person) if person and person.is_authenticated else [],
        "asked": context.get("asked", ""),
        "csrf_token": context.get("csrf_token"),
    }


def ways_of(request: Any, person: User) -> list[tuple[str, str]]:
    """The ways that only some have, with their words: to the people of the shop, and to the back office."""
    keeps = getattr(getattr(request, "house", None), "looks_after_people", False)
    ways = [("people", "People", keeps), ("admin:index", "Back office", person.is_staff)]
    return [(reverse(name), word) for name, word, may in ways if may]


def address_of(name: str, *args: str) -> str:
    """The address of this name, or nothing while no page stands behind it."""
    try:
        return reverse(name, args=args)
    except NoReverseMatch:
        return ""


@register.simple_tag
def key(kind: str, thing: object = "", *shows: object) -> SafeString:
    """The hidden field of a form that books something: what, of which thing, and what of that the page shows."""
    return format_html('<input type="hidden" name="key" value="{}">', new_key(kind, thing, *shows))


@register.simple_tag(takes_context=True)
def day(context: Context, on: date | datetime | None) -> SafeString | str:
    """A day as ``11 Mar``, with its year where that is not the sheet's; in full on hover and for screen readers."""
    if on is None:
        return ""
    if isinstance(on, datetime):
        on = timezone.localtime(on).date() if timezone.is_aware(on) else on.date()
    shown = day_words(context, on)
    return time_of(on, shown, "" if shown == in_full(on) else f"\u00a0{on.year}")


@register.simple_tag
def last_use(on: date | None) -> SafeString | str:
    """A last day of use, always with its year: it is years off as often as not."""
    return "" if on is None else time_of(on, in_full(on))


@register.simple_tag(takes_context=True)
def day_words(context: Context, on: date) -> str:
    """A day where no mark may stand, as in a field to choose from."""
    as_of = today_of(context)
    return in_full(on) if as_of is None else words_for_day(on, as_of)


def today_of(context: Context) -> date | None:
    """The day on which the page stands; None where it does not say so, and then every day has its year."""
    found: date | None = context.get("as_of")
    return found


def time_of(on: date, shown: str, spoken: str = "") -> SafeString:
    """A day for the eye, and what only a screen reader, or a spreadsheet into which it is copied, is told after it."""
    rest = format_html('<span class="visually-hidden">{}</span>', spoken) if spoken else ""
    full = formats().spelled_out(on)
    return format_html('<time datetime="{}" title="{}">{}{}</time>', on.isoformat(), full, shown, rest)


@register.filter
def written(on: date) -> str:
    """A day with its year, where no mark may stand."""
    return in_full(on)


@register.filter
def both_measures(size: str) -> str:
    """A size in inch and in millimetres where it is a ring's, else as it was written."""
    return in_both(size)


@register.simple_tag
def paper() -> str:
    """The paper that is printed on, as a word for the style sheets; nothing where the printer decides."""
    return formats().paper


@register.simple_tag
def part_link(part_number: str, leads_to: str = "part") -> SafeString:
    """A part number that leads to its sheet; ``leads_to`` may be any kind of item."""
    page = leads_to if leads_to in ("kit", "pump") else "part"
    return format_html('<a class="name" href="{}">{}</a>', reverse(page, args=[part_number]), part_number)


@register.filter
def amount(value: Amount | None) -> SafeString | str:
    """An amount with its unit; nothing at all where there is nothing."""
    if not value:
        return ""
    if not value.unit:
        return value.figure
    return format_html("{}&nbsp;{}", value.figure, value.unit)


@register.simple_tag
def mark(state: str) -> SafeString:
    """The shape of a state; the word beside it is the template's."""
    shape = SafeString(MARKS[state])
    drawn = '<svg class="mark" width="12" height="12" viewBox="0 0 12 12" aria-hidden="true" focusable="false">{}</svg>'
    return format_html(drawn, shape)


@register.inclusion_tag("web/pieces/strip.html", takes_context=True)
def strip(context: Context, stretch: Stretch) -> dict[str, Strip]:
    """The line from the day on which the parts are here to the build day."""
    return {"strip": draw_strip(stretch, today_of(context))}


@register.inclusion_tag("web/pieces/build_week.html", takes_context=True)
def build_week(context: Context, week: BuildWeek) -> dict[str, Any]:
    """The pumps built on each day of a week, against what the benches do."""
    return {"picture": draw_week(week), "as_of": today_of(context)}


@register.inclusion_tag("web/pieces/strip_axis.html", takes_context=True)
def strip_axis(context: Context, stretch: Stretch) -> dict[str, Axis]:
    """The days above a column of such lines."""
    return {"axis": draw_axis(stretch, today_of(context))}


@register.inclusion_tag("web/pieces/curves.html", takes_context=True)
def curves(context: Context, drawn: Curves) -> dict[str, CurvePicture]:
    """Needed against in hand: two cumulative curves with the gap between them."""
    return {"picture": draw_curves(drawn, today_of(context))}


@register.inclusion_tag("web/pieces/wear_bar.html", takes_context=True)
def wear_bar(context: Context, wear: WearList) -> dict[str, Any]:
    """A list of wear in one line, and as a bar divided by what is to be done."""
    counts = Counter(row.advice for row in wear.rows)
    shares = draw_shares([(WEAR_MARKS[advice], counts[advice], says) for advice, says in WEAR_SAYS.items()])
    return {"wear": wear, "shares": shares, "width": STRIP_WIDTH, "currency": context.get("currency", "")}


@register.inclusion_tag("web/pieces/bar.html")
def bar(marks: Sequence[tuple[str, int]], whole: int) -> dict[str, Any]:
    """A bar of counts by state, as long as they are of the whole; the figures stand beside it."""
    return {"shares": draw_shares([(name, count, "") for name, count in marks], whole), "width": STRIP_WIDTH}


@register.inclusion_tag("web/pieces/opens.html")
def opens(says: str, what: str, number: str, *also: str, batch: str = "") -> dict[str, str]:
    """A line that opens to how it comes about, which is fetched when it is opened (view `worked_out`)."""
    return {"says": says, "address": working_address(what, number, *also, batch=batch)}


@register.inclusion_tag("web/pieces/opens.html")
def opens_figures(name: str, what: str, number: str, *also: str) -> dict[str, str | bool]:
    """The same for the figures of a row, under the name by which the row is known; on paper it would say nothing."""
    says = f"The figures of {name}, worked out"
    return {"says": says, "address": working_address(what, number, *also), "only_a_door": True}


@register.inclusion_tag("web/pieces/opens.html")
def opens_figure(head: FigureHead, part_number: str) -> dict[str, str]:
    """The same for one figure of a part, which stands beside its label before it is opened."""
    says = format_html("{}: <strong>{}</strong>", head.label, head.figure)
    return {"says": says, "address": working_address("figure", part_number, head.table, head.column)}


@register.simple_tag
def working_address(what: str, number: str, *also: str, batch: str = "", job: str = "") -> str:
    """The address at which one line of a sheet is worked out, the jobs of a batch or one job first."""
    asked = [("also", one) for one in also] + [pair for pair in (("batch", batch), ("job", job)) if pair[1]]
    address = reverse("worked_out", args=(what, number))
    return f"{address}?{urlencode(asked)}" if asked else address


@register.inclusion_tag("web/pieces/sort_heads.html", takes_context=True)
def sort_heads(context: Context, shown: ShownList[Any]) -> dict[str, Any]:
    """The headings of the columns that a list shows, each a link that sorts by it."""
    pairs = zip(shown.headings, shown.choices, strict=True)
    headings = [heading for heading, column in pairs if column.shown]
    return {"headings": headings, "request": context.get("request"), "list_at": context.get("list_at", "")}


@register.inclusion_tag("web/pieces/find_rows.html", takes_context=True)
def find_rows(context: Context, shown: ShownList[Any], says: str = "Only rows with") -> dict[str, Any]:
    """A field for words that the rows of a list must hold; what else the address says stays as it is.

    A list that stands on another address than its own, as one does beside a refusal, says with ``list_at`` where it is.
    """
    request = context.get("request")
    kept = [pair for pair in request.GET.items() if pair[0] not in ("find", "page", "export")] if request else []
    return {"list": shown, "says": says, "kept": kept, "list_at": context.get("list_at", "")}
