"""How the tests of the tables look at a refusal: validation says it in a sentence, and the database refuses it too."""

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction


def assert_refused(row, says):
    """Hold that a row is refused with this sentence, and by the database alone as well."""
    row.clean()
    with pytest.raises(ValidationError) as refused:
        row.validate_constraints()
    assert says in refused.value.messages
    with pytest.raises(IntegrityError), transaction.atomic():
        row.save()
