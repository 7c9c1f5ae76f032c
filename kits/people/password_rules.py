"""What a password may not be, in sentences with the remedy."""

from __future__ import annotations

import re
import unicodedata
from typing import Any

from django.contrib.auth import password_validation as library
from django.core.exceptions import ValidationError

LEAST_OF_ITS_OWN = 6
"""Letters that have to be left of a password without the names in it; by own judgement."""
SHORTEST_NAME = 3
ANOTHER = "choose three or four words that have nothing to do with each other"


class LongEnough(library.MinimumLengthValidator):
    """Refuses a short password."""

    def get_error_message(self) -> str:
        """The sentence."""
        return f"The password is too short: take {self.min_length} characters or more."


class NotCommon(library.CommonPasswordValidator):
    """Refuses what is tried first."""

    def get_error_message(self) -> str:
        """The sentence."""
        return f"Many people have this password, so it is tried first: {ANOTHER}."


class NotOnlyDigits(library.NumericPasswordValidator):
    """Refuses a number."""

    def get_error_message(self) -> str:
        """The sentence."""
        return f"The password is a number: {ANOTHER}."


class NotTheName(library.UserAttributeSimilarityValidator):
    """Refuses a person's own name, however it is filled up with digits, signs or a few letters, and what is like it."""

    def validate(self, password: str, user: Any = None) -> None:
        """Refuse a password in which little is left beside the names of the person."""
        letters = left = only_letters(password)
        for name in sorted(names_of(user), key=len, reverse=True):
            left = left.replace(name, "")
        if left != letters and len(left) < LEAST_OF_ITS_OWN:
            raise ValidationError(self.get_error_message(), code="password_too_similar")
        super().validate(password, user)

    def get_error_message(self) -> str:
        """The sentence."""
        return f"The password is little more than your name: {ANOTHER}."


def only_letters(text: str) -> str:
    """The letters of a text as they are compared, without accents, digits and signs."""
    return "".join(sign for sign in unicodedata.normalize("NFKD", text).casefold() if sign.isalpha())


def names_of(user: Any) -> set[str]:
    """Everything by which a person is called, and the parts of it."""
    texts = [str(getattr(user, field, "") or "") for field in ("username", "first_name", "last_name", "email")]
    found = {only_letters(part) for text in texts for part in (text, *re.split(r"[\W\d_]+", text))}
    return {name for name in found if len(name) >= SHORTEST_NAME}
