"""What templates write of parts alike: look-alikes, other numbers, and the account that a form about kits acts upon."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from django import template
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from kits.picking.cautions.alike_parts import AlikePart
from kits.stock.packed_kits.kit_lots import KitLotRow
from kits.web.request_keys import new_key

register = template.Library()


@register.simple_tag
def alike_words(alike: Mapping[str, Sequence[AlikePart]], part_number: str) -> SafeString | str:
    """What lies on the shelf and could be taken for a part."""
    rows = alike.get(part_number, ())
    return format_html_join("", '<span class="besides">{}</span>', ((row.says,) for row in rows)) if rows else ""


@register.simple_tag
def notes_of(notes: Mapping[str, Sequence[str]] | str, part_number: str) -> SafeString | str:
    """Other numbers and substitutes of a short part; nothing on sheets that do not tell them."""
    says = notes.get(part_number, ()) if not isinstance(notes, str) else ()
    return format_html_join("", '<span class="besides">{}</span>', ((one,) for one in says)) if says else ""


@register.simple_tag
def kit_account(row: KitLotRow, work: str) -> SafeString:
    """The hidden fields of a form that acts upon kits at a place."""
    return format_html(
        '<input type="hidden" name="key" value="{}"><input type="hidden" name="condition" value="{}">'
        '<input type="hidden" name="packet" value="{}">',
        new_key(work, row.lot_id, row.shows),
        row.account.condition,
        row.account.packet,
    )
