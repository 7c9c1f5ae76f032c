"""Fields that every app of the shop uses: exact quantities, codes in one sort order, and keys that compare folded."""

from __future__ import annotations

from collections.abc import Collection
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from django import forms
from django.core.exceptions import ValidationError
from django.db import models
from django.db.backends.base.base import BaseDatabaseWrapper
from django.utils.formats import sanitize_separators

from bom.values import ONE
from kits.catalog.folding import fold_key
from kits.catalog.formats.in_force import formats

Stored = TypeVar("Stored", contravariant=True)
Read = TypeVar("Read", covariant=True)

if TYPE_CHECKING:

    class WholeNumber(models.BigIntegerField[Stored, Read]): ...

    Text = models.CharField[str, str]
else:
    # Django's fields take type arguments in their stubs only.
    class WholeNumber(models.BigIntegerField, Generic[Stored, Read]):
        """A BIGINT column."""

    Text = models.CharField

LARGEST = 2**63 - 1


def quantity_text(quantity: int | None) -> str:
    """Return millionths without needless zeros, as the shop writes numbers: ``1500000`` reads ``1.5`` or ``1,5``."""
    if quantity is None:
        return ""
    whole, rest = divmod(abs(quantity), ONE)
    fraction = f".{rest:06d}".rstrip("0") if rest else ""
    return formats().number(f"{'-' if quantity < 0 else ''}{whole}{fraction}")


class QuantityFormField(forms.Field):
    """A quantity typed in stock units, held in millionths."""

    def prepare_value(self, value: Any) -> Any:
        return quantity_text(value) if isinstance(value, int) else value

    def to_python(self, value: Any) -> int | None:
        if value in self.empty_values:
            return None
        try:
            millionths = Decimal(str(sanitize_separators(str(value).strip()))) * ONE
            if millionths != millionths.to_integral_value() or abs(millionths) > LARGEST:
                raise InvalidOperation
        except InvalidOperation:
            raise ValidationError(f"“{value}” is not a quantity: write a number with at most 6 decimals.") from None
        return int(millionths)

    def has_changed(self, initial: Any, data: Any) -> bool:
        try:
            return bool(self.to_python(self.prepare_value(initial)) != self.to_python(data))
        except ValidationError:
            return True


class QuantityField(WholeNumber[Stored, Read]):
    """Whole millionths of the item's stock unit: the number that the engine computes with, exact in every database."""

    def formfield(self, **kwargs: Any) -> Any:
        return super(models.IntegerField, self).formfield(**{"form_class": QuantityFormField, **kwargs})


class CodeField(Text):
    """A text that sorts byte by byte in every database (SQLite does so by itself, PostgreSQL by collation C)."""

    def db_parameters(self, connection: BaseDatabaseWrapper) -> Any:
        parameters: dict[str, Any] = {**super().db_parameters(connection)}
        if connection.vendor == "postgresql":
            parameters["collation"] = "C"
        return parameters


class FoldedField(CodeField):
    """The folded text of the fields named in ``of``, worked out whenever the row is stored (also in bulk)."""

    def __init__(self, *args: Any, of: tuple[str, ...] = (), **kwargs: Any) -> None:
        self.of = of
        kwargs.setdefault("max_length", 500)
        super().__init__(*args, **{**kwargs, "editable": False, "blank": True})

    def deconstruct(self) -> Any:
        name, path, args, kwargs = super().deconstruct()
        del kwargs["editable"], kwargs["blank"]
        return name, path, args, {**kwargs, "of": self.of}

    def folded(self, row: models.Model) -> str:
        """Return the key of one row."""
        return fold_key(*(getattr(row, name) for name in self.of))

    def pre_save(self, model_instance: models.Model, add: bool) -> str:
        folded = self.folded(model_instance)
        setattr(model_instance, self.attname, folded)
        return folded


class FoldedModel(models.Model):
    """A row known by a folded key; validation sees the key before it is stored."""

    class Meta:
        abstract = True

    def clean(self) -> None:
        """Work out the keys, so that the checks that follow see them."""
        super().clean()
        for field in self._folded_fields():
            field.pre_save(self, self._state.adding)

    def validate_constraints(self, exclude: Collection[str] | None = None) -> None:
        """Check the constraints, those on the keys too, which no form shows."""
        keys = {field.name for field in self._folded_fields()}
        super().validate_constraints(exclude=set(exclude or ()) - keys)

    def _folded_fields(self) -> list[FoldedField]:
        return [field for field in self._meta.concrete_fields if isinstance(field, FoldedField)]
