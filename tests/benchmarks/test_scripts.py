"""The scripts that measure run as they stand, in small."""

import ast
import math
import subprocess
import sys
from pathlib import Path

import pytest

from tests.benchmarks import operations
from tests.benchmarks.gaming import nudges_of
from tests.benchmarks.speed import counted

FOLDER = Path(__file__).parent


def said_by(script, *words):
    """What a script prints."""
    done = subprocess.run(
        [sys.executable, FOLDER / script, *words],
        capture_output=True,
        text=True,
        timeout=500,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_each_operation_is_counted_once():
    source = """
def f(a, b):
    a += 2.0 * b               # a product and a sum
    if a < b:                  # a comparison
        a = 0.0
    return np.sqrt(a) / 3.0 - a / b    # a function, a product, a quotient, a sum
"""
    tree = ast.fix_missing_locations(operations._Rewrite().visit(ast.parse(source)))
    names = {f"_counted_{key}": work for key, work in operations.OPERATORS.items()}
    names["_counted_Compare"] = operations._compared
    names["_counted_function"] = operations._counted_function
    space = {"np": math, **names}
    exec(compile(tree, "source", "exec"), space)
    before = dict(operations.counts)
    assert space["f"](1.0, 4.0) == pytest.approx(3.0 / 3.0 - 9.0 / 4.0)
    found = {kind: n - before[kind] for kind, n in operations.counts.items()}
    assert found == {
        "add": 2,
        "multiply": 2,
        "divide": 1,
        "compare": 1,
        "function": 1,
    }


@pytest.mark.slow
@pytest.mark.parametrize("objectives", ["2", "3"])
def test_kill_loop(objectives):
    words = ("--kills", "3", "--longest", "1", "--objectives", objectives)
    lines = said_by("kill_loop.py", *words).splitlines()
    kills = [line.split() for line in lines if line.lstrip()[:1].isdigit()]
    assert len(kills) >= 3
    assert [row[-1] for row in kills[:3]] == ["0"] * 3
    assert "to the last bit" in lines[-1]


@pytest.mark.slow
def test_islands():
    said = said_by("islands.py", "--evaluations", "4000", "--rounds", "1")
    assert "same bits with one process and two" in said


@pytest.mark.slow
def test_gaming(library):
    nudges = nudges_of("driver_40", library, n=2, by=0.002, draws=3, seed=1)
    assert nudges.n_designs == 2
    table = nudges.table
    assert set(table["nudge"]) == {"finer", "exact", "end", "set", "all"}
    # a finer number is near the usual one; a moved end is something else
    weight = table[table["what"] == "weight_g"].set_index("nudge")["largest_change"]
    assert weight["finer"].abs().max() < 0.01 < weight["end"].abs().max()


@pytest.mark.slow
def test_speed():
    said = said_by("speed.py", "--designs", "50")
    rows = [line.split() for line in said.splitlines() if line.startswith("driver_40")]
    assert float(rows[0][3]) > 1.0


@pytest.mark.slow
def test_operations_of_a_design():
    found = [counted(name) for name in ("driver_40", "iron_95")]
    totals = [sum(kinds.values()) for kinds in found]
    assert all(10_000 < total < 1_000_000 for total in totals)
    assert totals[0] != totals[1]
    assert all(0 < kinds["divide"] < 0.1 * sum(kinds.values()) for kinds in found)
