"""Every address is closed to somebody who has not signed in."""

import pytest
from django.urls import URLPattern, get_resolver

OPEN = {"sign_in", "sign_in_link", "health", "login"}
INTERFACE = "api/v1/"
"""What other programs ask says by itself that nobody is known, without a page to sign in on."""


def list_patterns(patterns, prefix=""):
    for pattern in patterns:
        route = prefix + str(pattern.pattern)
        if isinstance(pattern, URLPattern):
            yield route, pattern
        else:
            yield from list_patterns(pattern.url_patterns, route)


def test_every_view_asks_for_a_sign_in():
    """The middleware closes each view that does not open itself; only the way in may do so."""
    open_views = {
        pattern.name
        for route, pattern in list_patterns(get_resolver().url_patterns)
        if not route.startswith(INTERFACE) and not getattr(pattern.callback, "login_required", True)
    }
    assert open_views - OPEN == set()


@pytest.mark.django_db
def test_a_program_that_nobody_knows_gets_nothing(client):
    asked = [route for route, _ in list_patterns(get_resolver().url_patterns) if route.startswith(INTERFACE)]
    assert len(asked) > 10
    for route in asked:
        address = route.replace("<name>", "Items").replace("<upload>", "1").replace("<posting>", "1")
        for answer in (client.get(f"/{address}"), client.post(f"/{address}", {})):
            assert answer.status_code in (401, 404, 405), (route, answer.status_code)


@pytest.mark.django_db
def test_stranger_is_sent_to_the_way_in(client, settings):
    from django.urls import reverse

    settings.SECURE_SSL_REDIRECT = False
    answer = client.get("/")
    assert answer.status_code == 302
    assert answer.url.startswith(reverse("sign_in"))


@pytest.mark.django_db
def test_answers_let_a_browser_load_from_this_site_alone(client):
    policy = client.get("/back-office/login/").headers["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "unsafe" not in policy
    assert "http" not in policy
