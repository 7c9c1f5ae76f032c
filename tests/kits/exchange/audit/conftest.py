import pytest

from kits.web import request_keys


@pytest.fixture(autouse=True)
def unhurried(monkeypatch):
    """No test waits a second before it taps."""
    monkeypatch.setattr(request_keys, "SHOWN_SECONDS", 0)
