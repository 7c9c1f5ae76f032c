"""What a page of a list leaves out: the columns that whoever looks at it has unticked."""

from __future__ import annotations

import re
from typing import Any

from django import template
from django.template import Context, Node, NodeList
from django.template.base import Parser, Token
from django.utils.safestring import mark_safe

from kits.web.lists import ShownList

register = template.Library()

_CELL = re.compile(r"(?=<t[dh][\s>])")
_BEFORE = "cells before the first column"


class Chosen(Node):
    """Cells of a row, or the heads that stand before its columns; of the cells those stay whose column is shown."""

    def __init__(self, shown: template.base.FilterExpression, inner: NodeList, *, alone: bool) -> None:
        self.shown, self.inner, self.alone = shown, inner, alone

    def render(self, context: Context) -> str:
        """The cells, told apart by their tags: no cell holds another."""
        shown = self.shown.resolve(context)
        inner = self.inner.render(context)
        if not isinstance(shown, ShownList):  # the same cells where they are no list of their own
            return inner
        if not self.alone and _BEFORE not in context:
            context[_BEFORE] = len(_CELL.findall(inner))
            return inner
        if all(one.shown for one in shown.choices):
            return inner
        lead, *cells = _CELL.split(inner)
        first = 0 if self.alone else context[_BEFORE]
        left_out = {first + place for place, one in enumerate(shown.choices) if not one.shown}
        return mark_safe(lead + "".join(cell for place, cell in enumerate(cells) if place not in left_out))


@register.tag
def chosen(parser: Parser, token: Token) -> Chosen:
    """``{% chosen list %}``: once around the heads before the columns, then around the cells of each row.

    ``{% chosen list alone %}`` around the cells of a row in which nothing stands before the columns.
    """
    inner = parser.parse(("endchosen",))
    parser.delete_first_token()
    _, shown, *rest = token.split_contents()
    return Chosen(parser.compile_filter(shown), inner, alone=rest == ["alone"])


@register.simple_tag
def columns_before(shown: ShownList[Any] | str, name: str, whole: int) -> int:
    """How many columns stand to the left of one; as many as are written where the table is no list of its own."""
    return shown.shown_before(name) if isinstance(shown, ShownList) else whole


@register.filter
def shows(shown: ShownList[Any] | str, name: str) -> bool:
    """Whether a column is shown: what is said below it goes with it."""
    return not isinstance(shown, ShownList) or all(one.shown for one in shown.choices if one.name == name)


@register.simple_tag
def columns_from(shown: ShownList[Any] | str, name: str, whole: int) -> int:
    """How many columns there are from one on, itself left out; at least one."""
    if not isinstance(shown, ShownList):
        return whole
    return max(1, shown.columns_shown - shown.shown_before(name) - 1)


@register.inclusion_tag("web/pieces/choose_columns.html", takes_context=True)
def choose_columns(context: Context, shown: ShownList[Any]) -> dict[str, Any]:
    """The columns of a list to tick; what is chosen is kept by the browser."""
    request = context.get("request")
    address, _, query = request.get_full_path().partition("?") if request else ("", "", "")
    address = context.get("list_at") or address
    return {
        "list": shown,
        "left_out": sum(not one.shown for one in shown.choices),
        "names": " ".join(one.name for one in shown.choices),
        "back": f"{address}?{query}" if query else address,
        "csrf_token": context.get("csrf_token"),
    }
