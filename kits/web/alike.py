"""What could be taken for the parts of a list, to stand beside them wherever a clerk reads them."""

from __future__ import annotations

from typing import Any

from kits.picking.cautions.alike_parts import AlikePart, AlikeParts
from kits.web.lists import ShownList


def alike_in(shown: ShownList[Any]) -> dict[str, list[AlikePart]]:
    """What lies on the shelf and could be taken for a part of this page of a list; three statements."""
    return {} if not shown.rows else AlikeParts().of_each({row.part_number for row in shown.rows})
