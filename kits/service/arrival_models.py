"""How pumps came, their photos, what was let pass; compounds in fluids, and what to open for which sign."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from kits.catalog.constraints import holds, once, one_of
from kits.catalog.fields import FoldedField, FoldedModel
from kits.catalog.history.versions import PastVersions
from kits.catalog.models import Item
from kits.schedule.models import Job
from kits.service.words import RuleSays


class Arrival(models.Model):
    """How the pump of a job came: what its plate says, what it pumped, who flushed it, what was agreed.

    A blank serial or model could not be read; a blank fluid is not known. ``agreed_scope`` is the scope that the
    customer agreed to, so that another one is agreed anew. ``seen`` holds one sign a line.
    """

    job = models.OneToOneField(Job, models.PROTECT, related_name="arrival")
    serial = models.CharField(max_length=100, blank=True)
    model = models.CharField(max_length=100, blank=True)
    fluid = models.CharField(max_length=200, blank=True)
    flushed_by = models.CharField(max_length=200, blank=True)
    flushed_with = models.CharField(max_length=200, blank=True)
    paper_seen = models.BooleanField(default=False)
    missing = models.CharField(max_length=500, blank=True)
    seen = models.TextField(blank=True)
    agreed_scope = models.CharField(max_length=100, blank=True)
    agreed_with = models.CharField(max_length=200, blank=True)
    signed_by = models.CharField(max_length=200, blank=True)
    note = models.CharField(max_length=1000, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    at = models.DateTimeField()

    history = PastVersions()

    class Meta:
        ordering = ("job",)
        constraints = (
            holds(
                "arrival_agreed",
                Q(agreed_scope="", agreed_with="") | ~Q(agreed_scope="") & ~Q(agreed_with=""),
                "A scope that is agreed says with whom.",
            ),
            holds(
                "arrival_flushed",
                Q(flushed_by="", flushed_with="", paper_seen=False) | ~Q(flushed_by="") & ~Q(flushed_with=""),
                "A flushing note says who flushed, and with what.",
            ),
        )

    def __str__(self) -> str:
        return f"arrival of {self.job}"

    @property
    def signs(self) -> tuple[str, ...]:
        """What was seen, sign by sign."""
        return tuple(filter(None, self.seen.split("\n")))


class Photo(models.Model):
    """A photo of the pump of a job, ``where`` naming a position if it shows one; what is taken away says why."""

    job = models.ForeignKey(Job, models.PROTECT, related_name="photos")
    where = models.CharField(max_length=300, blank=True)
    note = models.CharField(max_length=200, blank=True)
    file_name = models.CharField(max_length=200)
    media_type = models.CharField(max_length=50)
    size = models.PositiveIntegerField()
    digest = models.CharField(max_length=64)
    content = models.BinaryField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    at = models.DateTimeField()
    gone_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    gone_at = models.DateTimeField(null=True, blank=True)
    gone_because = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ("id",)
        constraints = (
            once(
                "photo_once",
                "job",
                "where",
                "digest",
                condition=Q(gone_at__isnull=True),
                says="This photo is kept there already.",
            ),
            holds(
                "photo_gone",
                Q(gone_at__isnull=True, gone_because="") | Q(gone_at__isnull=False) & ~Q(gone_because=""),
                "A photo that is taken away says why.",
            ),
        )

    def __str__(self) -> str:
        return f"photo {self.pk} of {self.job}"


class Waiver(models.Model):
    """What the service lead let pass on a job, signed: which point, what was open about it, why.

    It counts only while the same is open: ``about`` is what the point said then.
    """

    job = models.ForeignKey(Job, models.PROTECT, related_name="waivers")
    point = models.CharField(max_length=60)
    about = models.CharField(max_length=1000)
    why = models.CharField(max_length=500)
    key = models.CharField(max_length=200)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    at = models.DateTimeField()
    back_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    back_at = models.DateTimeField(null=True, blank=True)
    back_because = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ("id",)
        constraints = (
            once("waiver_key_once", "key", says="This request signed for something already."),
            once(
                "waiver_once",
                "job",
                "point",
                condition=Q(back_at__isnull=True),
                says="Somebody signed for this point already.",
            ),
            holds("waiver_why", ~Q(why=""), "What is let pass says why."),
            holds(
                "waiver_back",
                Q(back_at__isnull=True, back_because="") | Q(back_at__isnull=False) & ~Q(back_because=""),
                "A signature that is taken back says why.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.job} {self.point}"


class FluidRule(FoldedModel):
    """What the shop holds of a compound (its short sign after ISO 1629) in a fluid, and who says so."""

    fluid = models.CharField(max_length=200)
    compound = models.CharField(max_length=50)
    folded = FoldedField(of=("fluid", "compound"))
    says = models.CharField(max_length=10, choices=RuleSays)
    source = models.CharField("where this is stated", max_length=300)
    note = models.CharField(max_length=500, blank=True)

    history = PastVersions()

    class Meta:
        ordering = ("folded",)
        constraints = (
            once("fluid_rule_once", "folded", says="There is a row for this compound in this fluid: change that one."),
            one_of("fluid_rule_says", "says", RuleSays),
            holds("fluid_rule_source", ~Q(source=""), "A row says where it is stated."),
        )

    def __str__(self) -> str:
        return f"{self.fluid}, {self.compound}: {self.get_says_display()}"


class SignRule(FoldedModel):
    """What was seen on a pump, and the section and scope that the shop looks at first then; never a diagnosis."""

    seen = models.CharField(max_length=200)
    section = models.ForeignKey(Item, models.PROTECT, null=True, blank=True, related_name="+")
    scope = models.CharField(max_length=100)
    folded = FoldedField(of=("seen", "scope"))
    note = models.CharField(max_length=500, blank=True)

    history = PastVersions()

    class Meta:
        ordering = ("folded", "id")
        verbose_name = "sign and what to open"
        verbose_name_plural = "signs and what to open"
        constraints = (
            once("sign_rule_once", "folded", "section", says="This sign leads to this section and scope already."),
            once(
                "sign_rule_anywhere_once",
                "folded",
                condition=Q(section__isnull=True),
                says="This sign leads to this scope already.",
            ),
            holds("sign_rule_named", ~Q(seen="") & ~Q(scope=""), "A row names what was seen and a scope."),
        )

    def __str__(self) -> str:
        return f"{self.seen}: {self.scope} {self.section or ''}".strip()
