"""A crowd at the site: each reads the pages of their role and looks at each, and clerks book by the real forms.

A request that got no answer, or the page of an outage, is sent again with the same key, as a browser would. What was
confirmed to somebody must stand in the ledger once, and nothing else.
"""

import http.client
import random
import re
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from http.cookies import SimpleCookie
from urllib.parse import urlencode

from tests.benchmarks.pages import list_pages
from tests.kits.web.hands import form_on

SHARES = {"Storeroom clerk": 16, "Planner": 14, "Purchasing": 10, "Service lead": 10}
"""How fifty people are made up."""
PIECES = 40
"""What a clerk's own account holds at least, so that it lasts for the run."""
WAITS_AT_MOST = 60
GIVES_UP_AFTER = 90


@dataclass(frozen=True, slots=True)
class Answer:
    """One request: of what page, when it was sent, how long it took, and what was wrong with the answer."""

    page: str
    at: float
    seconds: float
    wrong: str = ""


@dataclass
class Crowd:
    """What all of them share: the site, the pages by role, what was answered, and whether it is over.

    ``books`` is how many of the forms that clerks look at they also send.
    """

    port: int
    pages: dict[str, list[str]]
    looks: tuple[float, float]
    books: float = 1.0
    answers: list[Answer] = field(default_factory=list)
    over: threading.Event = field(default_factory=threading.Event)

    def work(self, people, seconds):
        """Let them work for so long, and wait until each has heard of what they sent last."""
        for one in people:
            one.start()
        time.sleep(seconds)
        self.over.set()
        for one in people:
            one.join()


def pages_by_role():
    """Role -> names of pages with their addresses, several jobs, batches, parts, kits and pumps among them."""
    from kits.catalog.models import Item
    from kits.schedule.models import Batch, Job

    jobs = list(Job.objects.exclude(batch=None).order_by("?")[:12].select_related("pump"))
    parts = Item.objects.filter(kind="part").order_by("?").values_list("part_number", flat=True)[:12]
    kits = Item.objects.filter(kind="kit").order_by("?").values_list("part_number", flat=True)[:12]
    pages = {name: [address] for name, address in list_pages().items()}
    pages |= {
        "batch": [f"/batches/{name}/" for name in Batch.objects.filter(jobs__in=jobs).values_list("name", flat=True)],
        "job": [f"/jobs/{job.job}/" for job in jobs],
        "strip report": [f"/strip-report/{job.job}/" for job in jobs],
        "pump": sorted({f"/pumps/{job.pump.part_number}/" for job in jobs}),
        "part": [f"/parts/{number}/" for number in parts],
        "kit": [f"/kits/{number}/" for number in kits],
    }
    return pages


READS = {
    "Storeroom clerk": ("today", "picking", "MOVE", "storeroom", "ADJUST", "movements", "use first", "COUNT", "MOVE"),
    "Planner": ("today", "schedule", "batch", "job", "waiting list", "week", "job", "what frees most", "batch",
                "what changed", "pump", "shelf"),
    "Purchasing": ("today", "shortages", "part", "purchasing", "due orders", "part", "offers", "search"),
    "Service lead": ("today", "job", "strip report", "kit", "batch", "pump", "waiting list", "strip report"),
}  # fmt: skip
ALONE = [page for pages in zip(*(READS[role] for role in READS), strict=False) for page in pages]
"""What one person does who is all of them in turn."""


class Browser:
    """What keeps cookies and sends requests, each by a connection of its own, as the proxies of ``.deploy`` do."""

    def __init__(self, port, session=""):
        self.port, self.cookies = port, {"sessionid": (session, float("inf"))}

    def send(self, address, said=None):
        """Status, where it leads to, and the page."""
        now, talk = time.monotonic(), http.client.HTTPConnection("127.0.0.1", self.port, timeout=WAITS_AT_MOST)
        headers = {"Cookie": "; ".join(f"{name}={value}" for name, (value, end) in self.cookies.items() if end > now)}
        if said is not None:
            headers["Content-Type"] = "application/x-www-form-urlencoded"
        try:
            talk.request("GET" if said is None else "POST", address, said and urlencode(said), headers)
            answer = talk.getresponse()
            page = answer.read().decode()
        finally:
            talk.close()
        for line in answer.headers.get_all("Set-Cookie", []):
            for name, one in SimpleCookie(line).items():
                self.cookies[name] = one.value, now + float(one["max-age"] or "inf")
        return answer.status, answer.headers["Location"], page


class Person(threading.Thread):
    """Somebody at a browser, who notes what was confirmed."""

    def __init__(self, number, crowd, reads, browser, account):
        super().__init__(name=f"person {number}", daemon=True)
        self.crowd, self.reads, self.dice = crowd, list(reads), random.Random(number)
        self.first = self.dice.randrange(len(self.reads))
        self.browser = browser
        self.account, self.pieces, self.elsewhere = account["pk"], account["pieces"], account["elsewhere"]
        self.confirmed, self.tried, self.sure = [], [], True

    def run(self):
        turn = self.first
        self.crowd.over.wait(self.dice.uniform(0, self.crowd.looks[1]))
        while not self.crowd.over.is_set():
            page = self.reads[turn % len(self.reads)]
            turn += 1
            if page.isupper() and self.dice.random() < self.crowd.books:
                getattr(self, page.lower())()
            elif page.isupper():
                self.ask("looked at: form", f"/storeroom/stock/{self.account}/")
                self.look()
            else:
                self.ask(page, self.dice.choice(self.crowd.pages[page]))
                self.look()

    def look(self):
        self.crowd.over.wait(self.dice.uniform(*self.crowd.looks))

    def move(self):
        said = {"do": "move", "quantity": "1", "place": self.elsewhere, "reason": ""}
        if self.book("move", f"/storeroom/stock/{self.account}/", said):
            self.pieces -= 1

    def adjust(self):
        change = self.dice.choice((1, -1))
        said = {"do": "adjust", "quantity": str(change), "reason": "found beside the bin"}
        if self.book("adjust", f"/storeroom/stock/{self.account}/", said):
            self.pieces += change

    def count(self):
        """Begin a sheet of the own account, count its line as it must be by what was booked, and end the sheet."""
        sheet = self.book("begin a count", "/storeroom/counts/", {"balance": str(self.account)})
        if sheet is None:
            return
        address, page = sheet
        address = address.partition("?")[0]
        line = re.search(rf'action="({address}lines/\d+/)"', page or "")
        done = line and self.book("count", line[1], {"counted": str(self.pieces)}, on=(address, page))
        if done and re.search(r"to\s+count", done[1] or ""):
            self.note("count", time.monotonic(), f"counted {self.pieces}, which is not what the book says")
        if done:
            self.book("end a count", f"{address}end/", {}, on=done)

    def book(self, name, address, said, on=None):
        """Look at the page of a form and send it; the address and page that it led to, None where it was given up."""
        shown = on[1] if on else self.ask(f"{name}: form", address)[1]
        if shown is None or self.crowd.over.is_set():
            return None
        only = {"do": said["do"]} if "do" in said else {}
        try:
            hidden = form_on(shown, address if on else None, **only)
        except AssertionError as error:
            self.note(name, time.monotonic(), str(error))
            return None
        self.look()
        if self.crowd.over.is_set():
            return None
        key = hidden["key"].partition(".")[0]
        self.tried.append(key)
        leads, page = self.ask(name, address, {**hidden, **said})
        if leads is None or leads == address:  # a sheet that cannot be begun leads back to its form
            self.sure &= page is not None
            self.note(name, time.monotonic(), "not booked")
            return None
        self.confirmed.append((key, "do" in said))
        return leads, self.ask(f"{name}: done", leads)[1]

    def ask(self, name, address, said=None):
        """One request until it is answered: where it leads to, and the page; (None, None) where it was given up."""
        until = time.monotonic() + GIVES_UP_AFTER
        while time.monotonic() < until:
            began = time.monotonic()
            try:
                status, leads, page = self.browser.send(address, said)
            except (OSError, http.client.HTTPException) as error:
                self.note(name, began, f"no answer ({type(error).__name__})")
                time.sleep(self.dice.uniform(0.5, 1.5))
                continue
            ours = leads or ("</html>" in page and "Rebuild Bench" in page)
            wrong = "" if status == 200 or (status == 302 and said is not None) else str(status)
            self.note(name, began, wrong if ours else f"{wrong} with a page that is not ours".strip())
            if status != 503:
                return leads, page
            time.sleep(self.dice.uniform(0.5, 1.5))
        self.note(name, began, "given up")
        return None, None

    def note(self, name, began, wrong):
        self.crowd.answers.append(Answer(name, began, time.monotonic() - began, wrong))


def people_of(crowd, shares):
    """Signed-in people of so many of each role, each with an account of the shelf of their own."""
    from django.contrib.auth.models import Group
    from django.test import Client

    from kits.people.models import User

    roles = [role for role, count in shares.items() for _ in range(count)]
    accounts = own_accounts(len(roles))
    people = []
    for number, (role, account) in enumerate(zip(roles, accounts, strict=True)):
        user, _ = User.objects.get_or_create(username=f"person-{number}-{role or 'all'}".replace(" ", "-").lower())
        user.groups.set(Group.objects.filter(name__in=[role] if role else list(READS)))
        client = Client()
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        browser = Browser(crowd.port, client.cookies["sessionid"].value)
        people.append(Person(number, crowd, READS[role] if role else ALONE, browser, account))
    return people


def own_accounts(count):
    """Accounts of the shelf of which only their clerk will take, on no count sheet, and a bin to bring pieces to."""
    from django.utils import timezone

    from bom.values import ONE
    from kits.stock.models import Balance, Count, Place

    Count.objects.filter(ended_at=None).update(ended_at=timezone.now())
    rows = Balance.objects.on_shelf().filter(
        quantity__gte=PIECES * ONE, packet="sealed", condition="usable", lot__item__stock_unit="each"
    )
    found = list(rows.order_by("pk").values("pk", "quantity", "place_id")[:count])
    if len(found) < count:
        raise SystemExit(f"only {len(found)} accounts hold {PIECES} pieces")
    bins = list(Place.objects.filter(kind="bin").order_by("pk").values_list("pk", flat=True)[:2])
    return [
        {
            "pk": row["pk"],
            "pieces": row["quantity"] // ONE,
            "elsewhere": next(pk for pk in bins if pk != row["place_id"]),
        }
        for row in found
    ]


def newest_posting():
    from kits.stock.models import Posting

    return Posting.objects.order_by("-pk").values_list("pk", flat=True).first() or 0


def prove_books(people, since):
    """How many bookings were confirmed, and a sentence for each that does not stand once or was asked for by nobody."""
    from bom.values import ONE
    from kits.catalog.models import LoggedRequest
    from kits.stock.models import Balance, Posting
    from kits.stock.queries import ledger_differences

    posted = Counter(key.partition("~")[0].rpartition(":")[2]
                     for key in Posting.objects.filter(pk__gt=since).values_list("key", flat=True))  # fmt: skip
    logged = {key.rpartition(":")[2] for key in LoggedRequest.objects.values_list("key", flat=True)}
    confirmed = [one for person in people for one in person.confirmed]
    tried = {key for person in people for key in person.tried}
    wrong = [f"{key} was confirmed and does not stand" for key, _ in confirmed if key not in logged]
    wrong += [f"{key} was posted {posted[key]} times" for key, posts in confirmed if posts and posted[key] != 1]
    wrong += [f"{key} was asked for by nobody" for key in posted if key not in tried]
    held = dict(Balance.objects.filter(pk__in=[person.account for person in people]).values_list("pk", "quantity"))
    wrong += [
        f"account {person.account} holds {held[person.account] // ONE}, not {person.pieces}"
        for person in people
        if person.sure and held[person.account] != person.pieces * ONE
    ]
    wrong += ledger_differences()
    return len(confirmed), wrong
