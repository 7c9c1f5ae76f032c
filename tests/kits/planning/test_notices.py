"""Notices by e-mail: what somebody asked for, once, whatever the mail server does."""

from datetime import UTC, date, datetime, timedelta
from smtplib import SMTPRecipientsRefused

import pytest
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend
from django.core.management import CommandError, call_command
from django.utils import timezone

from kits.people.models import PeopleChange
from kits.planning.models import NoticeChoice, SentNotice
from kits.planning.notices.actions import LOST_AFTER, choose_notices, take_in_hand
from kits.planning.notices.sending import send_notices
from kits.purchasing.models import OrderLine
from kits.schedule.models import Job
from kits.stock.models import Lot
from kits.stock.suspects.actions import freeze_lot
from tests.kits.persons import person_of
from tests.kits.web.shops import load_small

AT = datetime(2026, 3, 4, 9, 30, tzinfo=UTC)
pytestmark = pytest.mark.django_db


@pytest.fixture
def shop(db):
    load_small()


@pytest.fixture
def planner(shop):
    return person_of("Planner", "pat")


def choose(person, at=AT, email="pat@shop.example", **wanted):
    said = {"morning": False, "promises": False, "suspects": False, **wanted}
    return choose_notices(person=person, email=email, at=at, **said)


def test_nobody_is_told_anything_until_they_choose(planner):
    assert send_notices(at=AT).sent == 0
    choose(planner)
    assert send_notices(at=AT).sent == 0
    assert mail.outbox == []


def test_morning_letter_is_the_first_sentences_and_lists_of_ones_today(planner, client):
    choose(planner, morning=True)
    assert send_notices(at=AT).sent == 1
    (letter,) = mail.outbox
    assert letter.extra_headers["Auto-Submitted"] == "auto-generated"  # RFC 3834, section 5
    client.force_login(planner)
    page = client.get("/")
    sheet = page.context["sheet"]
    assert letter.to == ["pat@shop.example"]
    assert letter.subject.startswith(f"Today, 4 Mar: {sheet.says}"[:100])
    assert sheet.says in letter.body
    assert sheet.follows in letter.body
    assert "Next builds:\n  J-1, " in letter.body


def test_letter_goes_once_a_day_and_again_the_next_day(planner):
    choose(planner, morning=True)
    runs = [send_notices(at=AT + timedelta(hours=hours)).sent for hours in (0, 0, 5, 24, 25)]
    assert runs == [1, 0, 0, 1, 0]


def test_letter_waits_for_the_morning(planner):
    choose(planner, morning=True)
    assert send_notices(at=AT.replace(hour=4)).sent == 0
    assert send_notices(at=AT.replace(hour=5, minute=0)).sent == 1


def test_each_role_gets_its_own_sheet_and_an_administrator_one(shop):
    clerk, chief = person_of("Storeroom clerk", "kim"), person_of("Administrator", "ada")
    for person in (clerk, chief):
        choose(person, email=f"{person.username}@shop.example", morning=True)
    send_notices(at=AT)
    told = {letter.to[0]: letter.body for letter in mail.outbox}
    assert "picked" in told["kim@shop.example"]
    assert "next week" in told["ada@shop.example"]
    assert "picked" not in told["ada@shop.example"].split("\n")[0]


def test_broken_promise_is_told_once_and_only_if_it_broke_after_the_choice(planner):
    OrderLine.objects.update(promised_on=date(2026, 3, 3), quantity=5_000_000)
    line = OrderLine.objects.first()
    choose(planner, promises=True)
    assert send_notices(at=AT).sent == 0, "it was broken before"
    NoticeChoice.objects.update(since=AT - timedelta(days=2))
    count = OrderLine.objects.open().count()
    assert (send_notices(at=AT).sent, send_notices(at=AT).sent) == (count, 0)
    assert f"{line}, {line.item} from {line.supplier}, was promised for 3 Mar" in mail.outbox[0].body
    OrderLine.objects.filter(pk=line.pk).update(promised_on=date(2026, 3, 2))
    assert send_notices(at=AT).sent == 1, "another promise, broken as well"


def test_suspect_lot_is_told_once(planner):
    choose(planner, suspects=True, at=AT - timedelta(hours=1))
    freeze_lot(lot=Lot.objects.get(lot="L-1"), reason="cracks\nin two rings", by=planner, at=AT, key="doubt")
    assert (send_notices(at=AT).sent, send_notices(at=AT).sent) == (1, 0)
    (letter,) = mail.outbox
    assert letter.subject == "Suspect lot: OR-014, L-1"
    assert "cracks\nin two rings" in letter.body


def test_mail_holds_no_customer_and_no_price(planner):
    Job.objects.update(customer="Eastmere Tube Mill")
    choose(planner, morning=True)
    send_notices(at=AT)
    assert "Eastmere" not in mail.outbox[0].body + mail.outbox[0].subject


def test_mail_server_that_is_away_is_told_of_and_tried_again(planner, monkeypatch, caplog, settings):
    settings.EMAIL_HOST = "mail.shop.example"
    choose(planner, morning=True, at=AT)

    def refuse(self, messages):
        raise ConnectionRefusedError(111, "Connection refused")

    with monkeypatch.context() as away:
        away.setattr(EmailBackend, "send_messages", refuse)
        run = send_notices(at=AT)
        assert (run.sent, "Connection refused" in run.stopped) == (0, True)
        assert "the next run tries again" in caplog.text
        away.setattr(timezone, "now", lambda: AT)
        with pytest.raises(CommandError, match="the mail server is away"):
            call_command("send_notices")
    assert send_notices(at=AT).sent == 1


def test_address_that_is_refused_keeps_nobody_else_from_theirs(planner, monkeypatch):
    other = person_of("Planner", "quinn")
    choose(planner, morning=True, email="wrong@shop.example")
    choose(other, morning=True, email="quinn@shop.example")
    plain = EmailBackend.send_messages

    def refuse(self, messages):
        if messages[0].to == ["wrong@shop.example"]:
            raise SMTPRecipientsRefused({})
        return plain(self, messages)

    monkeypatch.setattr(EmailBackend, "send_messages", refuse)
    assert send_notices(at=AT).sent == 1
    assert [row.person for row in SentNotice.objects.all()] == [other]


def test_two_runs_at_once_send_one_letter_and_one_that_was_killed_is_made_good(planner):
    assert take_in_hand(person=planner, about=("morning 2026-03-04",), at=AT)
    choose(planner, morning=True)
    assert send_notices(at=AT).sent == 0, "another run is at it"
    assert send_notices(at=AT + LOST_AFTER + timedelta(seconds=1)).sent == 1


def test_people_who_left_and_people_without_an_address_get_none(planner):
    choose(planner, morning=True, email="")
    assert send_notices(at=AT).sent == 0
    choose(planner, morning=True)
    planner.is_active = False
    planner.save()
    assert send_notices(at=AT).sent == 0


def test_shop_that_cannot_be_planned_still_tells_of_suspect_lots(planner, monkeypatch):
    from bom.errors import BomError
    from kits.planning.notices import sending

    def fail():
        raise BomError("a circle")

    choose(planner, morning=True, suspects=True, at=AT - timedelta(hours=1))
    freeze_lot(lot=Lot.objects.get(lot="L-1"), reason="cracks", by=planner, at=AT, key="doubt")
    monkeypatch.setattr(sending, "plan_now", fail)
    assert send_notices(at=AT).sent == 1
    assert mail.outbox[0].subject.startswith("Suspect lot")


def test_command_says_when_no_server_is_named(planner, settings):
    settings.EMAIL_HOST = ""
    with pytest.raises(CommandError, match="set EMAIL_HOST"):
        call_command("send_notices")


def test_page_keeps_the_choice_of_whoever_is_signed_in(planner, client):
    client.force_login(planner)
    answer = client.post("/notices/", {"morning": "on", "email": "pat@shop.example"})
    assert answer.status_code == 302
    choice = NoticeChoice.objects.get()
    assert (choice.person, choice.morning, choice.promises, choice.suspects) == (planner, True, False, False)
    assert PeopleChange.objects.get().changes == [{"what": "email", "before": "", "after": "pat@shop.example"}]
    assert "checked" in client.get("/notices/").content.decode()
    client.post("/notices/", {"email": "pat@shop.example"})
    assert not NoticeChoice.objects.get().morning


@pytest.mark.parametrize(("email", "says"), [("", "No address was given"), ("pat@", "This is no e-mail address")])
def test_page_asks_for_an_address_and_keeps_what_was_ticked(planner, client, email, says):
    client.force_login(planner)
    answer = client.post("/notices/", {"suspects": "on", "email": email})
    said = answer.content.decode()
    assert (answer.status_code, says in said, 'name="suspects"' in said) == (422, True, True)
    assert "checked" in said
    assert not NoticeChoice.objects.exists()
