import pytest

from tests.kits.kept_rows import watch_patches


@pytest.fixture(autouse=True)
def patches_watched(monkeypatch):
    watch_patches(monkeypatch)
