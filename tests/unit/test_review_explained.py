"""Designs that the review page explains: which they are, and that figures are kept."""

import json
import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.spatial.distance import cdist

from model import METRIC, METRICS, Design, Shaft, evaluate
from optimiser.explain import explain
from optimiser.explain_text import explain_json
from optimiser.review import Pick, nearest, spread, suggest
from optimiser.review_explained import chosen_to_explain, explained_data
from optimiser.review_page import columns_of
from optimiser.words import ei_column
from tests.unit.shown_shafts import a_flag, a_spec, usual_design


@pytest.fixture(scope="module")
def spec(tmp_path_factory):
    return a_spec(tmp_path_factory.mktemp("spec"))


@pytest.fixture(scope="module")
def front():
    """A cloud of designs in what the spec trades, other metrics as they come."""
    random = np.random.default_rng(3)
    cloud = random.normal(size=(300, len(METRICS)))
    table = pd.DataFrame(cloud, columns=[metric.column for metric in METRICS])
    table["id"] = [f"{number:04x}" for number in random.permutation(300)]
    return table


def lost(front, spec):
    """Traded metrics from 0 at the best to 1 at the worst, without the project."""
    columns = []
    for target in spec.trades:
        values = front[METRIC[target.metric].column].to_numpy()
        values = values if target.trade == "less" else -values
        columns.append((values - values.min()) / np.ptp(values))
    return np.stack(columns, axis=1)


def picks_of(names):
    return [Pick(design_id=name, title="any", reason="any") for name in names]


# --------------------------------------------------------------------- which they are


def test_each_design_lies_furthest_from_those_before_it(front, spec):
    # the greedy rule of Gonzalez, Clustering to minimize the maximum intercluster
    # distance, Theoretical Computer Science 38 (1985), by distances of scipy
    seeds = front["id"].iloc[:3].tolist()
    found = spread(front, spec, seeds, 12)
    assert len(set(found)) == 12
    assert not set(found) & set(seeds)
    apart = cdist(lost(front, spec), lost(front, spec))
    rows = {name: i for i, name in enumerate(front["id"])}
    before = [rows[name] for name in seeds]
    for name in found:
        gaps = apart[:, before].min(axis=1)
        assert gaps[rows[name]] == pytest.approx(gaps.max(), rel=1e-12)
        before.append(rows[name])


def test_the_order_of_a_front_does_not_matter(front, spec):
    mixed = front.sample(frac=1.0, random_state=5)
    seeds = front["id"].iloc[:2].tolist()
    assert spread(mixed, spec, seeds, 20) == spread(front, spec, seeds, 20)
    assert spread(mixed, spec, [], 5) == spread(front, spec, [], 5)


def test_designs_that_trade_the_same_are_explained_once(front, spec):
    twice = pd.concat([front.iloc[:4], front.iloc[:4].assign(id=["w", "x", "y", "z"])])
    found = spread(twice, spec, [], 20)
    assert len(found) == 4
    assert len({name for name in found if name in "wxyz"}) == 0


def test_all_picks_are_explained_and_others_within_limits(front, spec):
    flags = dict.fromkeys(front["id"], 7)
    picks = suggest(front, spec)
    picked = list(dict.fromkeys(pick.design_id for pick in picks))
    chosen = chosen_to_explain(front, flags, spec, picks)
    assert chosen[: len(picked)] == picked
    assert len(chosen) == len(picked) + 40
    assert chosen[len(picked) :] == spread(front, spec, picked, 40)
    # shafts of more flags take longer, so fewer are explained, but every pick is
    flags = dict.fromkeys(front["id"], 20)
    assert len(chosen_to_explain(front, flags, spec, picks)) == 350 // 20
    assert chosen_to_explain(front, flags, spec, picks, most_flags=1) == picked
    # a pick whose design is not there is left out
    assert "gone" not in chosen_to_explain(front, flags, spec, picks_of(["gone"]))


def test_the_nearest_is_told_for_every_design(front, spec):
    names = spread(front, spec, [], 9)
    rows = {name: i for i, name in enumerate(front["id"])}
    cloud = lost(front, spec)
    apart = cdist(cloud, cloud[[rows[name] for name in names]])
    found = nearest(front, spec, names)
    assert found == [names[k] for k in apart.argmin(axis=1)]
    assert all(found[rows[name]] == name for name in names)


# ----------------------------------------------------------------- what is said of them


def shown(report, metric):
    value = report.metrics[metric.key]
    return math.nan if value is None else value * metric.scale


@pytest.fixture(scope="module")
def told(spec, library):
    design = usual_design()
    report = evaluate(design, library)
    row = {m.column: shown(report, m) for m in METRICS}
    front = pd.DataFrame([{"id": "one", **row}])
    columns = columns_of(front, spec, design, library.currency)
    picks = suggest(front, spec)
    return explained_data(front, {"one": design}, spec, library, picks, columns)


def test_figures_are_those_of_the_explanation(told, spec, library):
    found = explain_json(explain(usual_design(), library, spec=spec))
    one = told["designs"]["one"]
    assert list(told["designs"]) == ["one"]
    assert [share["key"] for share in told["shares"]] == list(found["headings"])
    assert len(one["shares"]) == len(found["shares"])
    for values, row in zip(one["shares"], found["shares"], strict=True):
        for share, value in zip(told["shares"], values, strict=True):
            there = row["share_pct"][share["key"]]
            # rounded once, to what is shown; where nothing can be shared it is left out
            assert value == (None if there is None else round(there, 1))
    assert len(one["changes"]) == len(found["changes"])
    for change, there in zip(one["changes"], found["changes"], strict=True):
        order, move, to, obstacle, leaves, differences = change
        assert order == there["order"]
        assert told["moves"][move] == there["said"]
        words = [told["words"][k] for k in (to, obstacle, leaves)]
        assert words == [there["to"], there["obstacle"], "; ".join(there["leaves"])]
        for metric, value in zip(told["metrics"], differences, strict=True):
            known = there["difference"][metric["key"]]
            if known is None:
                assert value is None
            else:
                finest = 0.6 * 10.0 ** -(metric["decimals"] + 2)
                assert value == pytest.approx(known, rel=5e-5, abs=finest)
    assert [told["words"][k] for k in one["notes"]] == found["notes"]


def test_half_a_wrap_more_is_what_evaluating_gives(told, library):
    design = usual_design()
    flag = design.flags[0]
    more = replace(flag, wraps=flag.wraps + 0.5)
    changed = replace(design, flags=(more, *design.flags[1:]))
    before, after = evaluate(design, library), evaluate(changed, library)
    one = told["designs"]["one"]
    change = next(
        c for c in one["changes"] if c[0] == 1 and told["moves"][c[1]].endswith("more")
    )
    keys = [metric["key"] for metric in told["metrics"]]
    compared = 0
    for metric in METRICS:
        now, then = (shown(report, metric) for report in (before, after))
        if not math.isfinite(now):
            continue
        k = keys.index(metric.column)
        finest = 0.6 * 10.0 ** -(metric.decimals + 2)
        assert one["now"][k] == pytest.approx(now, rel=1e-6, abs=finest)
        assert change[5][k] == pytest.approx(then - now, rel=1e-3, abs=finest)
        compared += 1
    assert compared >= 15


def test_ei_is_looked_at_in_the_same_places_of_unlike_shafts(spec, library):
    # nobody asks for EI, so it is looked at in four places of the shortest shaft
    wished = replace(spec, ei_targets=())
    designs = {}
    for name, length in (("long", 1.067), ("short", 1.0)):
        shaft = Shaft(length=length, mandrel="slim-5", mandrel_set=0.06)
        flag = a_flag("only", "standard-125", 0, 0.0, length, 8)
        designs[name] = Design(name=name, shaft=shaft, flags=(flag,))
    reports = {name: evaluate(design, library) for name, design in designs.items()}
    front = pd.DataFrame(
        [
            {"id": name, **{m.column: shown(report, m) for m in METRICS}}
            for name, report in reports.items()
        ]
    )
    columns = columns_of(front, wished, designs["long"], library.currency)
    told = explained_data(front, designs, wished, library, [], columns)
    assert sorted(told["designs"]) == ["long", "short"]
    stations = (0.1, 0.35, 0.6, 0.85)
    looked = [m["key"] for m in told["metrics"] if m["key"].startswith("ei_at")]
    assert looked == [ei_column(station) for station in stations]
    keys = [metric["key"] for metric in told["metrics"]]
    for name, report in reports.items():
        now = [told["designs"][name]["now"][keys.index(key)] for key in looked]
        profile = report.profile
        there = np.interp(stations, profile.station, profile.EI)
        np.testing.assert_allclose(now, there, rtol=2e-3)
        # the only flag has all of it
        of_ei = [s["key"].startswith("ei_at") for s in told["shares"]]
        shares = np.array(told["designs"][name]["shares"][0], dtype=float)[of_ei]
        np.testing.assert_allclose(shares, 100.0, atol=1e-3)


def test_a_design_takes_few_bytes(told):
    # fifty such designs are to add less than a megabyte to the page
    written = json.dumps(told["designs"]["one"], ensure_ascii=False)
    assert len(written.encode()) < 20_000
    assert told["nearest"] == [0]
