"""A form of another site, sent with the sign-in of somebody who may do everything, does nothing."""

import pytest
from django.test import Client
from django.urls import reverse

from tests.kits.web.test_every_door import DOORS
from tests.kits.web.test_every_door import shop as shop

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("name", sorted(name for name, door in DOORS.items() if door.do))
def test_a_form_of_another_site_does_nothing(shop, name):
    browser = Client(enforce_csrf_checks=True)
    browser.force_login(shop.people["administrator"])
    answer = browser.post(reverse(name, args=DOORS[name].own(shop)), {"reason": "x"})
    assert answer.status_code == 403
    assert b"<h1>" in answer.content, "a sentence, not a blank page"
