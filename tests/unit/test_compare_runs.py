"""Two runs side by side: the second is the first with one thing changed."""

import io
import json
import shutil

import numpy as np
import pandas as pd
import pytest
from pymoo.indicators.hv import HV

from model import METRIC, InputError
from optimiser.budget import Limits
from optimiser.cli import main
from optimiser.compare_runs import CORNER, compare_runs, dominated
from optimiser.compare_runs_text import runs_text
from optimiser.run import run_spec
from optimiser.store import open_run
from tests.conftest import SCENARIOS

pytestmark = pytest.mark.usefixtures("brisk")

COST, TORQUE, DURABILITY = (
    METRIC[key].column for key in ("material_cost", "torque", "durability")
)


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    spec = SCENARIOS / "fairway_58" / "spec.toml"
    folder = tmp_path_factory.mktemp("compared") / "first"
    run = run_spec(spec, out=folder, limits=Limits(evaluations=1_200))
    assert len(run.front) > 20
    return run


def changed(run, tmp_path, name, change):
    """The run again, with one of its files changed."""
    folder = tmp_path / "second"
    shutil.copytree(run.folder, folder)
    path = folder / name
    text = path.read_text(encoding="utf-8")
    assert change(text) != text
    path.write_text(change(text), encoding="utf-8")
    return open_run(folder)


def test_a_run_has_gained_nothing_over_itself(run):
    same = compare_runs(run, run)
    assert same.gain == 0.0
    # rounded to the 12 digits of a table, two designs in a hundred may tie in a value
    assert same.first.dominated == same.second.dominated < 0.03
    assert same.first.best == same.second.best
    assert same.changes == ()
    n = len(run.front)
    assert (same.anew.made, same.anew.met) == (n, n)
    assert same.anew.dominated < 0.03
    assert same.anew.hypervolume == pytest.approx(same.first.hypervolume, rel=1e-9)


def test_what_the_second_run_pays_besides_counts(run, tmp_path):
    """Designs of the first front cost what the second spec's [costs] say."""
    dearest = next(t.high for t in run.spec.targets if t.metric == "material_cost")
    labour = round(dearest - float(run.front[COST].median()), 3)
    second = changed(
        run,
        tmp_path,
        "spec.toml",
        lambda text: text + f"\n[costs]\nlabour_per_shaft = {labour}\n",
    )
    still = int((run.front[COST] + labour <= dearest).sum())
    assert compare_runs(run, second).anew.met == still
    assert 0 < still < len(run.front)


def test_hypervolume_is_that_of_another_library(run):
    # pymoo, indicators.hv: hypervolume by Fonseca's algorithm
    front = run.front
    losses = np.stack([front[TORQUE], front[COST], -front[DURABILITY]], axis=1)
    low, high = losses.min(axis=0), losses.max(axis=0)
    whole = HV(ref_point=np.full(3, CORNER))((losses - low) / (high - low))
    found = compare_runs(run, run).first.hypervolume
    assert found == pytest.approx(whole / CORNER**3, rel=1e-9)


def test_a_front_less_its_best_is_dominated_nowhere_but_smaller(run, tmp_path):
    def without_cheapest(text):
        table = pd.read_csv(io.StringIO(text), dtype=str)
        cheapest = table[COST].astype(float).idxmin()
        return table.drop(index=cheapest).to_csv(index=False)

    less = changed(run, tmp_path, "front.csv", without_cheapest)
    found = compare_runs(less, run)
    assert found.gain > 0.0
    assert found.second.best["material_cost"] < found.first.best["material_cost"]
    assert found.first.n == found.second.n - 1


def test_dominance_told_by_hand():
    some = np.array([[1.0, 5.0], [2.0, 2.0], [4.0, 1.0]])
    assert dominated(some, some).tolist() == [False] * 3
    others = np.array([[2.0, 1.5], [4.0, 1.0]])
    assert dominated(some, others).tolist() == [False, True, False]


def test_dearer_prepregs_are_named_and_the_old_front_is_priced_anew(run, tmp_path):
    def dearer(text):
        head, *lines = text.splitlines()
        at = head.split(",").index("price_per_m2")
        rows = [line.split(",") for line in lines]
        for row in rows:
            row[at] = f"{float(row[at]) * 2:.6f}"
        return "\n".join([head, *(",".join(row) for row in rows)]) + "\n"

    second = changed(run, tmp_path, "library/prepregs.csv", dearer)
    found = compare_runs(run, second)
    n_prices = len(run.library.prepregs)
    assert sum(change.startswith("price of") for change in found.changes) == n_prices
    ratio = found.anew.best["material_cost"] / found.first.best["material_cost"]
    # the band on cost lets the cheapest pass at twice its price
    assert ratio == pytest.approx(2.0, rel=1e-5)
    dear = (2.0 * run.front[COST] > 32.0).sum()
    assert found.anew.met == len(run.front) - dear


def test_a_mandrel_that_is_gone_takes_its_designs_with_it(run, tmp_path):
    used = run.front["mandrel"].value_counts()
    gone = used.index[0]
    kept = next(name for name in run.spec.mandrels if name != gone)

    def without(text):
        return "\n".join(
            line for line in text.splitlines() if not line.startswith(f"{gone},")
        ).replace("\n\n", "\n")

    folder = tmp_path / "second"
    shutil.copytree(run.folder, folder)
    for name, change in (
        ("library/mandrels.csv", without),
        ("spec.toml", lambda text: text.replace('["slim-4", "slim-5"]', f'["{kept}"]')),
    ):
        text = (folder / name).read_text(encoding="utf-8")
        assert change(text) != text
        (folder / name).write_text(change(text), encoding="utf-8")
    found = compare_runs(run, open_run(folder))
    assert found.anew.made == len(run.front) - used.iloc[0]
    assert f"mandrel {gone}: gone" in found.changes


def test_a_stricter_rule_is_told_and_counted(run, tmp_path):
    edge = round(float(run.front[DURABILITY].median()), 3)
    second = changed(
        run,
        tmp_path,
        "spec.toml",
        lambda text: text.replace("at_least = 0.15 }", f"at_least = {edge} }}"),
    )
    found = compare_runs(run, second)
    assert found.anew.made == len(run.front)
    assert found.anew.met == (run.front[DURABILITY] >= edge).sum()
    assert any(f"at_least = {edge}" in change for change in found.changes)
    text = runs_text(found)
    assert f"{found.anew.met} of them meet what it asks" in text
    assert "Highest durability margin" in text


def test_runs_that_trade_nothing_in_common_are_refused(run, tmp_path):
    def other(text):
        for key in ("torque", "material_cost", "durability"):
            word = "more" if key == "durability" else "less"
            turned = "less" if key == "durability" else "more"
            text = text.replace(
                f'{key} = {{ trade = "{word}"', f'{key} = {{ trade = "{turned}"'
            )
        return text

    second = changed(run, tmp_path, "spec.toml", other)
    with pytest.raises(InputError, match="trades nothing"):
        compare_runs(run, second)


def test_the_command_says_and_draws_it(run, capsys, tmp_path):
    words = ["compare", str(run.folder), str(run.folder), "--out", str(tmp_path)]
    assert main(words) == 0
    said = capsys.readouterr().out
    assert "Hypervolume" in said
    assert (tmp_path / "fronts.png").read_bytes().startswith(b"\x89PNG\r\n\x1a\n")
    assert main([*words, "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["hypervolume_gain_pct"] == 0.0
    assert data["first"]["best"][COST] == pytest.approx(run.front[COST].min())
    assert main(["compare", str(run.folder), str(tmp_path)]) == 2
    assert "not the folder of a run" in capsys.readouterr().err
