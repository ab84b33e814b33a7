"""The command that prints the table of accuracy."""

import json
import sys
from dataclasses import replace

import pytest

from model import AccuracyWord
from optimiser import accuracy_command
from optimiser.accuracy import ACCURACY_CHECKS, accuracy_json, accuracy_text
from optimiser.cli import main


@pytest.fixture(scope="module")
def rows():
    return accuracy_command.accuracy_rows()


def test_json_has_every_row(rows, monkeypatch, capsys):
    monkeypatch.setattr(accuracy_command, "accuracy_rows", lambda: rows)
    assert main(["accuracy", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found == accuracy_json(rows)
    assert found["ok"] is True
    assert len(found["rows"]) == len(ACCURACY_CHECKS)
    for row in found["rows"]:
        if row["verdict"] == "ok":
            assert row["worst_error_pct"] <= row["allowed_pct"]
            assert row["cases"] > 0


def test_words_have_every_row_and_reference(rows, monkeypatch, capsys):
    monkeypatch.setattr(accuracy_command, "accuracy_rows", lambda: rows)
    assert main(["accuracy"]) == 0
    text = capsys.readouterr().out
    for row in rows:
        assert row.quantity in text
        assert f"{row.source} ({row.mark})" in text


def test_a_row_that_is_out_fails_the_command(rows, monkeypatch, capsys):
    spoiled = (replace(rows[0], error=0.5, verdict=AccuracyWord.OUT), *rows[1:])
    monkeypatch.setattr(accuracy_command, "accuracy_rows", lambda: spoiled)
    assert main(["accuracy"]) == 1
    assert "1 OUT" in capsys.readouterr().out
    assert main(["accuracy", "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["ok"] is False


def test_libraries_that_are_missing_are_no_fault(monkeypatch):
    for name in ("composipy", "laminate", "laminate.laminate", "skfem"):
        monkeypatch.setitem(sys.modules, name, None)
    checks = [c for c in ACCURACY_CHECKS if c.kind == AccuracyWord.LIBRARY]
    found = [check.run() for check in checks]
    assert len(found) == 3
    assert {row.verdict for row in found} == {AccuracyWord.NOT_INSTALLED}
    assert "3 not installed" in accuracy_text(found)
