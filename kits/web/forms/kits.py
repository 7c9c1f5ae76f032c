"""The forms of packing kits, of suspect lots, and of a ring that is looked up by what was measured."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from bom.values import Options
from kits.catalog.days.words import in_full
from kits.catalog.errors import Refusal
from kits.catalog.fields import QuantityFormField
from kits.catalog.options import parse_options
from kits.catalog.reference import MM_PER_INCH
from kits.catalog.rings.finder import INSIDE_TOLERANCE_MM, SECTION_TOLERANCE_MM, Measured
from kits.schedule.models import Job
from kits.stock.models import Place
from kits.stock.packed_kits.kit_lots import KitLotRow, PieceRow
from kits.stock.words import PlaceKind
from kits.web.forms.days import DayField
from kits.web.request_keys import KeyForm

REASON_SAYS = "No reason was given: write one, for whoever looks at the movements later."


class ReasonField(forms.CharField):
    """Why something is done."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=400, **kwargs)
        self.error_messages["required"] = REASON_SAYS


def bins() -> list[Place]:
    """The places where usable pieces lie, in walk order; one statement."""
    return list(Place.objects.exclude(kind=PlaceKind.QUARANTINE))


def open_jobs() -> list[Job]:
    """The jobs that ask for parts, by build day; one statement."""
    return list(Job.objects.asking().order_by("build_on", "folded"))


def job_choices(jobs: Sequence[Job], nobody: str) -> list[tuple[str, str]]:
    """Jobs to choose from, and nobody."""
    return [("", nobody), *((job.job, f"{job.job}, built {in_full(job.build_on)}") for job in jobs)]


class TakeForm(forms.Form):
    """Whether pieces are taken although others need them; then it is said why."""

    takes_kept = forms.BooleanField(required=False)

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        if said.get("takes_kept") and "reason" in self.fields and not said.get("reason", "").strip():
            self.add_error("reason", "Others need these pieces up to that day: write why they are taken all the same.")
        return said


class LookForm(TakeForm):
    """How many kits, and for which build day, before anything is packed."""

    count = forms.IntegerField(min_value=1, max_value=500, required=False)
    lives_to = DayField(required=False)
    options = forms.CharField(required=False, max_length=200)

    def clean_options(self) -> Options:
        """The options as they are compared."""
        try:
            return parse_options(self.cleaned_data["options"])
        except Refusal as error:
            raise ValidationError(str(error)) from error


class PackForm(KeyForm, LookForm):
    """What is packed, and where the kits go."""

    count = forms.IntegerField(min_value=1, max_value=500)
    lives_to = DayField()
    reason = forms.CharField(required=False, max_length=400)

    def __init__(self, places: Sequence[Place], jobs: Sequence[Job], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._places, self._jobs = ({one.place: one for one in places}, {job.job: job for job in jobs})
        missing = {"required": "No place was chosen: say where the packed kits lie."}
        choices = [("", "choose a place"), *((name, name) for name in self._places)]
        self.fields["place"] = forms.ChoiceField(choices=choices, error_messages=missing)
        self.fields["job"] = forms.ChoiceField(choices=job_choices(jobs, "no job in particular"), required=False)

    @property
    def place(self) -> Place:
        """The place that was chosen."""
        return self._places[self.cleaned_data["place"]]

    @property
    def job(self) -> Job | None:
        """The job that was chosen."""
        return self._jobs.get(self.cleaned_data["job"])

    def asked_for(self, looked_for: str) -> Job | None:
        """The job for which kits are looked at: the one that was chosen here, else the one that the address names."""
        return self._jobs.get(self.data.get("job", "") if self.is_bound else looked_for)


class OpenForm(KeyForm):
    """How many kits are opened, and why."""

    count = forms.IntegerField(min_value=1, max_value=500, initial=1)
    reason = ReasonField()


class RobForm(KeyForm):
    """Which piece comes out of one kit, for whom, and why."""

    quantity = QuantityFormField(initial=1_000_000)
    reason = ReasonField()

    def __init__(self, row: KitLotRow, jobs: Sequence[Job], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._jobs = {job.job: job for job in jobs}
        self.pieces = {piece_key(piece): piece for piece in row.pieces if piece.quantity}
        names = [(key, piece_says(piece)) for key, piece in self.pieces.items()]
        missing = {"required": "No piece was chosen: say what is taken out."}
        self.fields["piece"] = forms.ChoiceField(choices=[("", "choose a piece"), *names], error_messages=missing)
        self.fields["job"] = forms.ChoiceField(choices=job_choices(jobs, "nobody: back to its bin"), required=False)

    @property
    def chosen(self) -> PieceRow:
        """The piece that was chosen."""
        return self.pieces[self.cleaned_data["piece"]]

    @property
    def job(self) -> Job | None:
        """The job that wants it."""
        return self._jobs.get(self.cleaned_data["job"])


class FillForm(KeyForm, TakeForm):
    """To which day the pieces that are put back have to live."""

    lives_to = DayField()
    reason = forms.CharField(required=False, max_length=400)


class ReasonForm(KeyForm):
    """A step that needs nothing but a reason."""

    reason = ReasonField()


class RingForm(forms.Form):
    """What was measured of a ring, in millimetres or inches."""

    inside = forms.FloatField(localize=True, min_value=0.1, max_value=2000)
    section = forms.FloatField(localize=True, min_value=0.01, max_value=50)
    unit = forms.ChoiceField(choices=(("mm", "mm"), ("in", "in")), required=False)
    inside_tolerance = forms.FloatField(localize=True, min_value=0.001, max_value=50, required=False)
    section_tolerance = forms.FloatField(localize=True, min_value=0.001, max_value=5, required=False)

    def measured(self) -> Measured:
        """The measures in millimetres; a tolerance left blank is the usual one."""
        said = self.cleaned_data
        times = float(MM_PER_INCH) if said["unit"] == "in" else 1.0
        return Measured(
            said["inside"] * times,
            said["section"] * times,
            said["inside_tolerance"] * times if said["inside_tolerance"] else INSIDE_TOLERANCE_MM,
            said["section_tolerance"] * times if said["section_tolerance"] else SECTION_TOLERANCE_MM,
        )


def piece_key(piece: PieceRow) -> str:
    """What names a piece in a form."""
    return f"{piece.item_id}-{piece.piece_lot_id or 0}"


def piece_says(piece: PieceRow) -> str:
    """A piece in a list to choose from."""
    lot = f", lot {piece.lot}" if piece.lot else ""
    return f"{piece.part_number}{lot}: {piece.quantity.text} in the bag"
