"""Progress at a terminal: what it says, and how often."""

import time

import pytest

from optimiser.budget import Budget
from optimiser.state import Progress
from optimiser.terminal import ProgressLine, standing_text
from optimiser.watch import Standing


def standing(**changes):
    progress = Progress(evaluations=5_000, seconds=10.0, feasible=40, archive=7)
    values = {
        "progress": progress,
        "hypervolume": 0.123,
        "rate": 500.0,
        "budget": Budget(20_000, None),
        "is_stopping": False,
        "trouble": "",
    }
    return Standing(**(values | changes))


def test_progress_names_all_that_matters():
    text = standing_text(standing())
    assert text == (
        "25% 5,000 of 20,000 designs, 500/s, left 0:00:30, feasible 40 (0.8%), "
        "front 7, hypervolume 0.1230"
    )
    assert standing_text(standing(writing="writing design 3 of 7")).startswith(
        "writing design 3 of 7, 25% 5,000 of 20,000 designs"
    )
    text = standing_text(standing(budget=Budget(None, 7_210.0)))
    assert "left 2:00:00" in text
    assert text.startswith("0% 5,000 designs")
    # of two limits the one that comes first counts
    text = standing_text(standing(budget=Budget(20_000, 20.0)))
    assert text.startswith("50%")
    assert "left 0:00:10" in text
    assert "left" not in standing_text(standing(rate=None))
    assert "stopping" in standing_text(standing(is_stopping=True))
    assert "disk is full" in standing_text(standing(trouble="disk is full"))


@pytest.mark.parametrize("width", [30, 60, 79, 100])
def test_a_narrow_terminal_shows_whole_words_that_matter_most(width):
    progress = Progress(
        evaluations=1_234_567, seconds=2_000.0, feasible=812_345, archive=3_456
    )
    text = standing_text(
        standing(progress=progress, budget=Budget(10_000_000, None)), width
    )
    whole = standing_text(
        standing(progress=progress, budget=Budget(10_000_000, None))
    ).split(", ")
    assert len(text) <= max(width, len("12% 1,234,567 of 10,000,000 designs"))
    assert set(text.split(", ")) <= set(whole)
    if width >= 79:
        assert "front 3,456" in text
        assert "left 4:52:10" in text
    full = "No space left on device: 12 evaluations are not on disk"
    assert standing_text(standing(trouble=full), width).startswith(full)


def test_progress_lines_are_few_where_nobody_watches(capsys, monkeypatch):
    with ProgressLine(is_live=False) as line:
        for _ in range(50):
            line(standing())
        assert capsys.readouterr().err == ""
        line(standing(trouble="disk is full"))
        line(standing(trouble="disk is full"))
        assert capsys.readouterr().err.count("disk is full") == 1
        monkeypatch.setattr("optimiser.terminal._LINE_EVERY", 0.0)
        line(standing())
        assert capsys.readouterr().err.count("\n") == 1


def test_silence_is_explained(capsys, monkeypatch):
    monkeypatch.setattr("optimiser.terminal._SILENT_FOR", 0.01)
    with ProgressLine(is_live=False):
        time.sleep(0.3)
    # true whether or not anything is compiled
    assert capsys.readouterr().err.startswith("still starting; on first use the core")
