"""Every test here says where its numbers come from."""

from pathlib import Path

import pytest

HERE = Path(__file__).parent


def source_of(item):
    marker = item.get_closest_marker("source")
    return "".join(marker.args).strip() if marker else ""


def pytest_collection_modifyitems(items):
    nameless = [
        item.nodeid
        for item in items
        if HERE in Path(item.path).parents and not source_of(item)
    ]
    if nameless:
        raise pytest.UsageError(
            "tests/published asks for @pytest.mark.source on: " + ", ".join(nameless)
        )
