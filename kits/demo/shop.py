"""The demo shop: its lists, its sign-ins, and the refusal to mix it with a shop of one's own."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from pathlib import Path

from django.conf import settings
from django.contrib.auth.models import Group

from bom.plan import plan
from kits.catalog.errors import Refusal
from kits.catalog.models import Item
from kits.catalog.queries import read_settings
from kits.demo.actions import store_bench_figures
from kits.demo.lead_tables import enter_lead_tables
from kits.exchange.actions import load_files
from kits.exchange.problems.findings import Findings
from kits.exchange.reading.sheet_files import open_file
from kits.exchange.uploads.outcome import Outcome
from kits.people.models import User
from kits.people.roles import ADMINISTRATOR, CLEAN_WORK, PLANNER, PURCHASING, SERVICE_LEAD, STOREROOM_CLERK, Role
from kits.planning.snapshot.shop import take_snapshot
from kits.planning.weeks.actions import keep_answers_of
from kits.schedule.words import Stage

FIXTURES = Path(settings.BASE_DIR) / "demo_fixtures"
SHOP_NAME = "Staithe Lane Pump Rebuilds (invented)"
NAMES: dict[Role, str] = {
    STOREROOM_CLERK: "clerk",
    PLANNER: "planner",
    PURCHASING: "purchaser",
    SERVICE_LEAD: "lead",
    ADMINISTRATOR: "admin",
}


TRAINED = frozenset({STOREROOM_CLERK})
"""Who of them was trained for clean work; the planner and the lead of the demo were not."""


@dataclass(frozen=True, slots=True)
class DemoSignIn:
    """A sign-in of the demo: everybody may know its password."""

    name: str
    password: str
    role: str


def refuse_other_shop() -> None:
    """Refuse to bring invented data into a database that is somebody's own, or onto a site that others can reach."""
    hosts = getattr(settings, "SHOP_HOSTS", [])
    if hosts:
        raise Refusal(
            f"The site answers to {', '.join(hosts)}, and the demo makes sign-ins whose passwords everybody may know: "
            "run the demo without ALLOWED_HOSTS."
        )
    name = read_settings().text("shop_name")
    if name != SHOP_NAME and (name or Item.objects.exists()):
        raise Refusal(
            "The database holds a shop of your own, and the demo would mix invented lists into it: "
            "name another database, such as DATABASE_URL=sqlite:///demo.sqlite3, and run the demo there."
        )


def load_demo_shop(at: datetime) -> Outcome | None:
    """Load the lists of the demo shop; None when they are there already and what was done to them is kept."""
    if Item.objects.exists():
        return None
    findings = Findings()
    files = [file for path in sorted(FIXTURES.glob("*.csv")) if (file := open_file(path, findings)) is not None]
    outcome = load_files(files=files, by=None, at=at, findings=findings)
    if not outcome.problems:
        store_bench_figures()
        enter_lead_tables(at)
    return outcome


MONDAY = date(2026, 3, 2)
OPENED_SINCE = ("J-3101", "J-3103")
ENTERED_SINCE = ("J-3119",)


def keep_monday(at: datetime) -> None:
    """Keep what the plan answered on the Monday before, when two pumps were not open yet and a rush job not entered."""
    now = take_snapshot(MONDAY)
    then = replace(
        now,
        jobs=tuple(
            replace(job, stage=Stage.HERE.value) if job.job in OPENED_SINCE else job
            for job in now.jobs
            if job.job not in ENTERED_SINCE
        ),
        verdicts=tuple(verdict for verdict in now.verdicts if verdict.job not in OPENED_SINCE),
    )
    keep_answers_of(plan=plan(then), by=None, at=at - timedelta(days=2), key="demo:monday")


def make_sign_ins() -> list[DemoSignIn]:
    """Make one sign-in for each role, and put the demo password back where it was changed."""
    found = []
    for role, name in NAMES.items():
        password = f"{name}-of-the-demo"
        user, _ = User.objects.get_or_create(username=name, defaults={"is_staff": role is ADMINISTRATOR})
        if not user.check_password(password):
            user.set_password(password)
            user.save(update_fields=["password"])
        user.groups.set(Group.objects.filter(name__in=[role.name, *([CLEAN_WORK.name] if role in TRAINED else [])]))
        found.append(DemoSignIn(name, password, role.name))
    return found


def demo_day() -> date:
    """The day on which the story of the demo shop stands."""
    return read_settings().today or date(2026, 3, 4)
