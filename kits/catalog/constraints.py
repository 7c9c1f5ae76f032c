"""Constraints that say in a sentence what they refuse."""

from __future__ import annotations

from django.db.models import CheckConstraint, F, Q, TextChoices, UniqueConstraint


def holds(name: str, condition: Q, says: str) -> CheckConstraint:
    """Return a rule that each row must keep."""
    return CheckConstraint(name=name, condition=condition, violation_error_message=says, violation_error_code=name)


def once(name: str, *fields: str, says: str, condition: Q | None = None) -> UniqueConstraint:
    """Return a rule that no two rows share these fields."""
    return UniqueConstraint(
        name=name, fields=fields, condition=condition, violation_error_message=says, violation_error_code=name
    )


def one_of(name: str, field: str, choices: type[TextChoices], *, blank: bool = False) -> CheckConstraint:
    """Return a rule that a column holds one of the listed words."""
    words = [*choices.values, *([""] if blank else [])]
    says = f"{field.replace('_', ' ').capitalize()} is one of: {', '.join(choices.values)}."
    return holds(name, Q(**{f"{field}__in": words}), says)


def not_before(name: str, first: str, last: str, says: str) -> CheckConstraint:
    """Return a rule that, where both are given, the last day does not come before the first."""
    either_blank = Q(**{f"{first}__isnull": True}) | Q(**{f"{last}__isnull": True})
    return holds(name, either_blank | Q(**{f"{last}__gte": F(first)}), says)
