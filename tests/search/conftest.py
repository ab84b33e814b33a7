"""What tests of the search share."""

import pytest

from tests.search.courses import EIGHT


@pytest.fixture
def eight(tmp_path):
    path = tmp_path / "eight.toml"
    path.write_text(EIGHT, encoding="utf-8")
    return path
