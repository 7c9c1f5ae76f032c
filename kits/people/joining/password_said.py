"""What is wrong with a password that is typed for somebody who is not there yet."""

from __future__ import annotations

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from kits.people.models import User


def password_fault(password: str, name: str) -> str:
    """Return why it cannot be taken, in sentences; nothing where it can."""
    try:
        validate_password(password, User(username=name))
    except ValidationError as error:
        return " ".join(error.messages)
    return ""
