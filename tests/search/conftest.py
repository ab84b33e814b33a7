"""What tests of the search share."""

import pytest

from optimiser import search
from tests.search.courses import EIGHT


@pytest.fixture
def young(monkeypatch):
    """Nurseries soon begun, that last a quarter as long; how long, in their sizes."""
    monkeypatch.setattr(search, "_MOST_MOVES", 20_000)
    young = search._YOUNG // 4
    monkeypatch.setattr(search, "_YOUNG", young)
    return young


@pytest.fixture
def eight(tmp_path):
    path = tmp_path / "eight.toml"
    path.write_text(EIGHT, encoding="utf-8")
    return path
