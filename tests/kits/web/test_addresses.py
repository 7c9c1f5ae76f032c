"""Where the addresses lead: no link on any page leads nowhere."""

import re
from collections import Counter, deque
from urllib.parse import parse_qs, unquote, urljoin, urlsplit

import pytest
from django.urls import resolve, reverse

from kits.web.addresses.urls import urlpatterns
from tests.kits.web.who_asks import people_known


def test_every_address_has_a_name_of_its_own():
    names = {pattern.name for pattern in urlpatterns}
    assert len(names) == len(urlpatterns)
    assert all(names)


@pytest.mark.django_db
def test_no_link_leads_nowhere(demo_shop, reader, planner):
    """The links of every page, from today's sheet on, lead to a page: of each kind of address the first dozen."""
    found, broken, kinds = {reverse("today")}, [], Counter()
    waiting = deque(found)
    with people_known({"planner": planner}, {"planner": reader}):
        while waiting:
            kind = kind_of(address := waiting.popleft())
            if kinds[kind] == 12:
                continue
            kinds[kind] += 1
            answer = reader.get(address, follow=True)
            if answer.status_code != 200:
                broken.append(address)
            if "text/html" in answer.headers["Content-Type"]:
                further = set(links_of(address, answer.content.decode())) - found
                found |= further
                waiting += further
    assert broken == []
    assert sum(kinds.values()) > 250


def kind_of(address):
    """The page that answers, and the names of what it is asked: lists of one movement each are alike."""
    parts = urlsplit(address)
    return resolve(unquote(parts.path)).view_name, frozenset(parse_qs(parts.query, keep_blank_values=True))


def links_of(address, page):
    found = {urljoin(address, link.replace("&amp;", "&")) for link in re.findall(r'<a [^>]*href="([^"]+)"', page)}
    # Each list sorted each way is the same list again: its own tests look at that.
    return [
        link.split("#")[0]
        for link in found
        if link.startswith("/") and "/back-office/" not in link and "sort=" not in link
    ]


@pytest.mark.django_db
def test_link_within_a_page_has_its_target(demo_shop, reader):
    for batch in ("Spring refit", "Easter stop"):
        page = reader.get(reverse("batch", args=[batch])).content.decode()
        targets = set(re.findall(r' id="([^"]+)"', page))
        assert set(re.findall(r'href="#([^"]+)"', page)) <= targets


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("address", "status"),
    [("/nothing/here/", 404), ("/parts/NO-SUCH/", 404), ("/jobs/NO-SUCH/", 404), ("/batches/NO-SUCH/", 404),
     ("/pumps/SE-M/", 404), ("/kits/NO-SUCH/", 404), ("/upload/987654/", 404)],
)  # fmt: skip
def test_unknown_address_says_what_to_do(demo_shop, reader, address, status):
    answer = reader.get(address)
    assert answer.status_code == status
    assert b"To today" in answer.content


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("address", "leads_to"),
    [("/parts/K-E12N/", "/kits/K-E12N/"), ("/parts/SKARN-64T/", "/pumps/SKARN-64T/"), ("/kits/SE-M/", "/parts/SE-M/"),
     ("/parts/se-m/", None)],
)  # fmt: skip
def test_number_leads_to_the_sheet_of_its_kind(demo_shop, reader, address, leads_to):
    answer = reader.get(address)
    assert answer.status_code == (302 if leads_to else 200)
    assert leads_to is None or answer.url == leads_to


def test_part_number_with_a_slash_has_an_address():
    assert reverse("part", args=["1/2-NPT"]) == "/parts/1/2-NPT/"
