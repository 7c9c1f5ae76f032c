"""The plan as plain rows, for whoever writes it into a file."""

from __future__ import annotations

from typing import Any

from bom.answers.rows import as_json
from bom.plan import Plan


def plan_rows(plan: Plan, batch: str | None = None) -> dict[str, Any]:
    """All rows of a plan, or those of one batch."""
    return as_json(plan, batch)
