"""Every row of the accuracy table, and that a wrong number would put a row out."""

import pytest

from model.accuracy import AccuracyWord, Case, Check, MissingLibraryError, printed
from optimiser.accuracy import ACCURACY_CHECKS, accuracy_json, accuracy_text


@pytest.mark.parametrize(
    "check",
    [
        pytest.param(check, id=check.quantity, marks=pytest.mark.source(check.source))
        for check in ACCURACY_CHECKS
    ],
)
def test_row(check):
    row = check.run()
    if row.verdict == AccuracyWord.NOT_INSTALLED:
        pytest.skip(f"{row.source} is not installed")
    assert row.n_cases > 0
    assert row.verdict == AccuracyWord.PASSED, f"{row.error} of {row.allowed} allowed"


def check_of(cases):
    return Check(
        group="group",
        quantity="quantity",
        source="source",
        kind=AccuracyWord.EXACT,
        mark=AccuracyWord.DERIVED,
        cases=cases,
    )


@pytest.mark.source("definition: printed digits are rounded")
@pytest.mark.parametrize(
    ("ours", "text", "good"),
    [
        (23.6549, "23.65", True),
        (23.6552, "23.65", False),
        (-5.2404e3, "-5240", True),
        (-5.241e3, "-5240", False),
        (1.7394e9, "1.739e9", True),
        (1.7396e9, "1.739e9", False),
        (float("nan"), "1.0", False),
        (float("inf"), "1.0", False),
    ],
)
def test_a_printed_number_allows_half_its_last_digit(ours, text, good):
    row = check_of(lambda: [printed(ours, text)]).run()
    assert (row.verdict == AccuracyWord.PASSED) is good


@pytest.mark.source("definition: the case nearest to its limit speaks for its row")
def test_the_worst_case_is_shown():
    cases = [Case(1.01, 1.0, 0.02), Case(102.0, 100.0, 1.0), Case(5.0, 5.0, 1e-9)]
    row = check_of(lambda: cases).run()
    assert (row.n_cases, row.verdict) == (3, AccuracyWord.OUT)
    assert row.error == pytest.approx(0.02)
    assert row.allowed == pytest.approx(0.01)
    assert accuracy_json([row])["ok"] is False
    assert "OUT" in accuracy_text([row])


@pytest.mark.source("definition: a library that is missing is no fault")
def test_a_missing_library_is_said():
    def cases():
        raise MissingLibraryError("skfem")

    row = check_of(cases).run()
    assert (row.n_cases, row.verdict) == (0, AccuracyWord.NOT_INSTALLED)
    assert accuracy_json([row])["ok"] is True
    assert "not installed" in accuracy_text([row])
