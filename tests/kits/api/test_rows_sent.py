"""Rows as programs send them: so many columns and no more, and every digit of a number."""

import csv
import io

import pytest

from kits.exchange.models import UploadedFile

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("small_shop")]


@pytest.fixture
def planner(program_of):
    return program_of("Planner")


@pytest.mark.parametrize(
    "rows",
    [
        [{f"c{number}": 1 for number in range(201)}],
        [{f"c{number}": 1} for number in range(201)],
    ],
)
def test_rows_of_more_than_200_columns_are_refused(planner, rows):
    answer = planner.post("/lists/Schedule", {"rows": rows}, key="too-wide-1")
    assert (answer.status_code, "200" in answer.json()["detail"]) == (422, True)
    assert not UploadedFile.objects.exists()


def test_every_digit_of_a_number_is_kept(planner):
    cells = {"a": 12345678901234567890123, "b": -9007199254740993, "c": 2.5, "d": 3.0, "e": True, "f": None, "g": "=1"}
    planner.post("/lists/Schedule", {"rows": [cells]}, key="digits-001")
    row = list(csv.reader(io.StringIO(bytes(UploadedFile.objects.get().content).decode())))[1]
    assert row == ["12345678901234567890123", "-9007199254740993", "2.5", "3", "yes", "", "'=1"]


def test_a_number_that_would_lose_digits_is_refused(planner):
    answer = planner.post("/lists/Schedule", {"rows": [{"job": 10**60 + 1}]}, key="digits-002")
    assert answer.status_code == 422
