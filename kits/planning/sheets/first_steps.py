"""What a new shop does first, and what of it is done: the page is not spoken of any more once all of it is."""

from __future__ import annotations

from dataclasses import dataclass

from kits.catalog.models import Holiday, Item, ScopeSection
from kits.people.models import User
from kits.schedule.models import Job
from kits.stock.models import Balance, Place


@dataclass(frozen=True, slots=True)
class FirstStep:
    """One step; ``leads_to`` is the name of the address where it is taken, ``link`` what the link says."""

    does: str
    because: str
    leads_to: str
    link: str
    done: bool


def first_steps() -> list[FirstStep]:
    """The steps in their order; seven short statements."""
    return [
        FirstStep(
            "Add the people who work with it",
            "What each of them may do comes from what they are.",
            "people",
            "People",
            User.objects.filter(is_active=True).count() > 1,
        ),
        FirstStep(
            "Bring the lists of pumps and parts in",
            "Items, Structure and Scopes say what a rebuild needs; kits, suppliers and offers may follow.",
            "upload",
            "Upload lists",
            Item.objects.exists() and ScopeSection.objects.exists(),
        ),
        FirstStep(
            "Say when the shop is closed",
            "Every day is counted in working days. Holidays of a country: python3 manage.py start --country DE",
            "calendar",
            "Working calendar",
            Holiday.objects.exists(),
        ),
        FirstStep(
            "Name the places",
            "The list Places says where things lie; its labels are printed from here.",
            "place_labels",
            "Labels of places",
            Place.objects.exists(),
        ),
        FirstStep(
            "Count what lies there",
            "Place by place, with the cure date from the bag; or bring the list Lots in.",
            "first_take",
            "First stock-take",
            Balance.objects.exists(),
        ),
        FirstStep(
            "Enter the first batch",
            "A pump, its scope and its build day: from then on the plan says what is short.",
            "new_jobs",
            "New jobs",
            Job.objects.exists(),
        ),
    ]
