"""The benchmark of the search counts, resumes and tells as it says."""

import numpy as np
import pandas as pd
import pytest

from tests.benchmarks import kept_front, left_off, provenance, quality
from tests.benchmarks.kept_front import Front

pytestmark = pytest.mark.usefixtures("brisk")


def ran(monkeypatch, *words):
    monkeypatch.setattr("sys.argv", ["quality.py", *map(str, words)])
    return quality.main()


def test_a_mark_shows_the_last_generation_within_it(monkeypatch):
    """Fronts of one point each, whose boxes to the corner (1, 1) are known."""
    monkeypatch.setattr(quality, "MARKS", (100, 200, 300))
    notes = {}

    def note(kind, mark, found):
        if kind != "seconds":
            notes[kind, mark] = (found["evaluations"], found["hypervolume"])

    watch = quality.Watch(300, np.inf, np.array([1.0, 1.0]), note)
    watch.start()
    going = []
    for evaluations, side in ((90, 0.9), (130, 0.5), (290, 0.4), (310, 0.1)):
        front = Front(np.zeros((1, 1), dtype=np.int64), np.full((1, 2), side))
        going.append(watch(evaluations, front, feasible=1, first=50))
        front.F[:] = -1e3  # what a search does with its arrays later is its own
    watch.finish()
    assert going == [True, True, True, False]
    assert {key: n for key, (n, _) in notes.items()} == {
        ("evaluations", 100): 90,
        ("evaluations", 200): 130,
        ("evaluations", 300): 290,
        ("end", 300): 310,
    }
    boxes = [notes["evaluations", mark][1] for mark in (100, 200, 300)]
    assert boxes == pytest.approx([0.1**2, 0.5**2, 0.6**2])


def test_a_search_that_hits_its_mark_counts_there(monkeypatch):
    monkeypatch.setattr(quality, "MARKS", (100,))
    notes = []
    watch = quality.Watch(
        100, np.inf, np.ones(2), lambda kind, mark, _: notes.append((kind, mark))
    )
    watch.start()
    none = Front(np.zeros((0, 1), dtype=np.int64), np.zeros((0, 2)))
    assert not watch(100, none, feasible=0, first=None)
    watch.finish()
    assert ("evaluations", 100) in notes


def test_a_benchmark_runs_and_is_not_done_twice(monkeypatch, tmp_path, capsys):
    monkeypatch.setattr(quality, "MARKS", (500, 1_000))
    table, kept = tmp_path / "quality.csv", tmp_path / "kept"
    words = ["run", "--scenario", "hybrid_85", "--evaluations", "1k", "--seeds", 1]
    words += ["--table", table, "--kept", kept]
    assert ran(monkeypatch, *words) == 0
    rows = pd.read_csv(table)
    assert set(rows["search"]) == {"default", "stock", "repaired", "random"}
    assert (rows["kind"] == "end").sum() == 4
    ends = rows[rows["kind"] == "end"].set_index("search")
    assert (ends["evaluations"] >= 1_000).all()
    first = ends.loc["default", "first_feasible_evaluations"]
    assert first <= 1_000
    encoding = kept_front.load("hybrid_85", quality.read_library())
    found = kept_front.read("hybrid_85", encoding, kept)
    # kept to the digits of a text, where some are no better than others any more
    n = ends.loc["default", "designs"]
    assert 0.9 * n <= found.n <= n
    volume = kept_front.hypervolume(found.F, kept_front.corner(encoding))
    assert volume == pytest.approx(ends["hypervolume"].max(), rel=1e-6)
    assert ran(monkeypatch, *words) == 0
    assert "4 runs, 4 of them done before" in capsys.readouterr().out
    assert len(pd.read_csv(table)) == len(rows)
    # a search at length is noted by itself, and betters the front
    extend = ["extend", *words[1:5], "--seed", 3, *words[7:]]
    assert ran(monkeypatch, *extend) == 0
    noted = pd.read_csv(table)[len(rows) :]
    assert set(noted["search"]) == {"at length"}
    assert noted.iloc[-1]["kind"] == "end"
    assert noted.iloc[-1]["evaluations"] >= 1_000
    # another seed comes on top; sources that changed since are measured anew
    assert ran(monkeypatch, *words, "--search", "random", "--seed", 7) == 0
    monkeypatch.setattr(quality, "code_of", lambda search: f"new {search}")
    assert ran(monkeypatch, *words, "--search", "random", "--seed", 7) == 0
    assert len(pd.read_csv(table)) > len(rows) + len(noted) + 2
    # sources that find the same take the rows over; the seed that none compared stays
    old = pd.read_csv(table)
    monkeypatch.setattr(quality, "code_of", lambda search: f"tidy {search}")
    capsys.readouterr()
    carry = ["carry", *words[1:], "--search", "random", "--seed", 1]
    assert ran(monkeypatch, *carry) == 0
    new = pd.read_csv(table)
    carried = (old["search"] == "random") & ~old["code"].str.startswith("new")
    assert f"{carried.sum()} rows are of tidy random now" in capsys.readouterr().out
    assert (new["code"] == old["code"].mask(carried, "tidy random")).all()
    pd.testing.assert_frame_equal(new.drop(columns="code"), old.drop(columns="code"))
    table.write_text(table.read_text().replace(",1000,", ",1001,"))
    before = table.read_text()
    assert ran(monkeypatch, *carry) == 0
    assert "random is another search: hybrid_85" in capsys.readouterr().out
    assert table.read_text() == before
    assert ran(monkeypatch, "table", "--table", table, "--kept", kept) == 0
    out = capsys.readouterr().out
    assert "| **default** |" in out
    assert "| random, seed 7 |" in out
    assert "Measured on" in out
    assert "Searched at length: seed 3 " in out


def test_a_long_search_goes_on_where_it_was_left(monkeypatch, tmp_path, capsys):
    monkeypatch.setattr(quality, "MARKS", (150, 300, 450))
    monkeypatch.setattr(quality, "SECONDS", ())
    words = ["--scenario", "hybrid_85", "--evaluations", "600"]

    def extend(name):
        table = tmp_path / name / "quality.csv"
        extra = ["--table", table, "--kept", tmp_path / name / "kept"]
        code = ran(monkeypatch, "extend", *words, *extra)
        return code, pd.read_csv(table)

    code, at_once = extend("at_once")
    assert code == 0
    write = left_off.write
    left = iter([False, True] * 2 + [False] * 10)

    def killed(*given):
        write(*given)
        if next(left):
            raise KeyboardInterrupt

    monkeypatch.setattr(left_off, "write", killed)
    codes = [extend("in_parts")[0] for _ in range(3)]
    assert codes == [130, 130, 0]
    _, in_parts = extend("in_parts")
    assert "done before" in capsys.readouterr().out
    told = ["kind", "mark", "evaluations", "hypervolume", "designs", "feasible"]
    assert len(at_once) == 4
    pd.testing.assert_frame_equal(in_parts[told], at_once[told])
    assert not list((tmp_path / "in_parts" / "at_length").iterdir())


def test_a_search_of_other_sources_is_not_taken_up(tmp_path):
    encoding = kept_front.load("hybrid_85", quality.read_library())
    state = quality.fresh_state(encoding, 3)
    left_off.write(tmp_path / "a.npz", "old", {"used": 1.0}, state)
    kept, again = left_off.read(tmp_path / "a.npz", "old")
    assert kept == {"used": 1.0}
    assert again.rng.bit_generator.state == state.rng.bit_generator.state
    assert left_off.read(tmp_path / "a.npz", "new") == (None, None)
    assert left_off.read(tmp_path / "b.npz", "old") == (None, None)


def test_code_changes_with_code_and_not_with_words(monkeypatch, tmp_path):
    for folder in ("model", "optimiser", "tests/benchmarks"):
        (tmp_path / folder).mkdir(parents=True)
    for name in ("benchmarks/rivals", "shop_rules"):
        (tmp_path / "tests" / f"{name}.py").write_text("x = 1\n")
    for name in ("encoding", "problem", "breeding", "search", "steer"):
        (tmp_path / "optimiser" / f"{name}.py").write_text('"""A."""\nx = 1\n')
    monkeypatch.setattr(provenance, "ROOT", tmp_path)
    search = tmp_path / "optimiser" / "search.py"
    before = quality.code_of("default"), quality.code_of("stock")
    search.write_text('"""Other words."""\n# and more\nx = 1\n')
    assert quality.code_of("default") == before[0]
    search.write_text('"""A."""\nx = 2\n')
    assert quality.code_of("default") != before[0]
    assert quality.code_of("stock") == before[1]
    (tmp_path / "tests" / "shop_rules.py").write_text("x = 2\n")
    assert quality.code_of("stock") != before[1]
    before = quality.code_of("default"), quality.code_of("stock")
    (tmp_path / "model" / "beam.py").write_text("y = 3\n")
    assert quality.code_of("default") != before[0]
    assert quality.code_of("stock") != before[1]


@pytest.mark.parametrize(("text", "n"), [("30k", 30_000), ("2M", 2_000_000), ("7", 7)])
def test_numbers_may_be_short(text, n):
    assert quality.count(text) == n
