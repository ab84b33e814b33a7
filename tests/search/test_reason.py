"""Specs that no design can keep, each with a cause that is known, are explained."""

import json
import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from model import evaluate_batch
from optimiser.cli import main
from optimiser.course import Solo
from optimiser.decoding import GENES, HEAD, SHEET
from optimiser.encoding import encode
from optimiser.islands import Islands
from optimiser.limits import limits_of, moved
from optimiser.reason import Explanation, explain
from optimiser.reason_text import explanation_json, explanation_text
from optimiser.search import Search
from tests.search.courses import EIGHT

pytestmark = pytest.mark.usefixtures("brisk")


def asking(spec, **changes):
    """The spec with bands of some targets moved."""
    targets = [replace(t, **changes.get(t.metric, {})) for t in spec.targets]
    search = replace(spec.search, population=60)
    return replace(spec, targets=tuple(targets), search=search)


def with_wraps(spec, **wraps):
    """The spec with other wraps at some places."""
    places = []
    for place in spec.places:
        key = place.name.replace(" ", "_")
        places.append(replace(place, wraps=wraps.get(key, place.wraps)))
    return replace(spec, places=tuple(places))


def nearest(spec, library):
    """What a short search leaves to be explained."""
    search = Search(encode(spec, library))
    left = 25

    def on_generation(_):
        nonlocal left
        left -= 1
        return left > 0

    state = search.run(on_generation, evaluations=900)
    assert state.archive.n == 0
    order = np.argsort(state.living.violation, kind="stable")
    return state.living.genomes[order]


def explained(spec, library):
    explanation = explain(spec, library, nearest(spec, library), evaluations=15_000)
    assert explanation is not None
    return explanation


def test_too_high_a_frequency_for_the_weight(scenario, library):
    """A light and stiff shaft of such mandrels is a matter of both, and of no place."""
    spec = asking(
        scenario,
        frequency={"low": 390.0 / 60.0, "high": 394.0 / 60.0},
        weight={"low": 0.0475, "high": 0.0485},
    )
    found = explained(spec, library)
    assert not found.keeping
    assert found.can_be_built
    assert found.can_be_rolled
    reached = {one.band: one for one in found.conflict}
    assert {"frequency", "weight"} <= set(reached)
    # each is reached as near as it can be, and not what was asked
    assert reached["frequency"].value * 60.0 < 380.0
    assert reached["weight"].value > 0.050
    text = explanation_text(found)
    assert "frequency: asked 390.0 cpm to 394.0 cpm, nearest that is reached" in text
    assert "weight: asked 47.50 g to 48.50 g, nearest that is reached" in text


def test_too_low_a_torque_for_the_wraps_of_the_bias(scenario, library):
    """Torque is a matter of the bias plies; hardly any may be rolled here."""
    spec = asking(scenario, torque={"high": math.radians(2.6)})
    spec = with_wraps(spec, torque_pair=(1.0, 1.5), second_pair=(1.0,))
    found = explained(spec, library)
    assert [one.band for one in found.conflict] == ["torque"]
    assert 2.6 < math.degrees(found.conflict[0].value) < 3.6
    names = [one.what for one in found.binding]
    assert 'place "torque pair": 1.5 wraps, the most that it may have' in names
    assert 'pair"' in names[0]
    # what trying confirmed, not all that the nearest designs sit at
    assert not any(name.startswith("rule") for name in names)
    assert all(one.left <= 0.85 for one in found.binding)
    wraps = next(one for one in found.binding if "torque pair" in one.what)
    assert wraps.share > 0.6
    assert wraps.left < 0.5


def test_too_small_a_butt_for_the_mandrel(scenario, library):
    """No wall fits between the mandrel at the butt and the diameter asked there."""
    spec = asking(scenario, butt_diameter={"low": 0.0119, "high": 0.0121})
    sets = spec.mandrel_sets
    least = min(
        library.mandrels[name].diameter_at(min(sets) + spec.lengths[0])
        for name in spec.mandrels
    )
    assert least + 2.0 * spec.rules.wall_min > 0.0121  # so it cannot be
    found = explained(spec, library)
    assert not found.can_be_built
    assert found.can_be_rolled
    assert [one.band for one in found.conflict] == ["butt_diameter"]
    assert found.conflict[0].value > least + 2.0 * spec.rules.wall_min
    assert any(
        one.what.startswith("mandrel: slim-4, the slimmest") for one in found.binding
    )
    text = explanation_text(found)
    assert "nothing can be built to the end diameters" in text
    values = json.loads(json.dumps(explanation_json(found), allow_nan=False))
    assert values["bands_in_conflict"][0]["band"] == "butt_diameter"
    assert values["bands_in_conflict"][0]["value"] > 12.1


def test_a_rule_that_alone_is_in_the_way(scenario, library):
    """Half turns show some 7 % of spread round the clock, and 0.5 % is allowed."""
    rules = replace(scenario.rules, direction_spread_max=0.005)
    found = explained(replace(asking(scenario), rules=rules), library)
    assert not found.conflict
    (missed,) = found.rules
    assert "spread of EI round the clock" in missed
    assert "rule at most 0.50 %" in missed
    spread = next(x for x in found.binding if "direction_spread_max" in x.what)
    assert spread.what == "rule direction_spread_max: 0.5 %"
    assert spread.tried == "1.75 %"
    # what is left of the miss is what the looser rule leaves of it
    reached = float(missed.split("clock ")[1].split(" %")[0])
    assert spread.left == pytest.approx((reached - 1.75) / (reached - 0.5), abs=0.2)
    text = explanation_text(found)
    assert "all bands are kept by the nearest design, but not the rules:" in text
    assert explanation_json(found)["only_rules_are_missed"] == [missed]


def test_where_nothing_frees_the_others_it_says_what_the_nearest_misses():
    """A band and a rule both missed, so that letting go of no band is enough."""
    found = Explanation(
        spec="both",
        evaluations=1_000,
        keeping=(),
        can_be_built=True,
        can_be_rolled=True,
        nearest=("torque 4.20 deg, asked at most 4.00 deg", "thinnest wall 0.4 mm"),
        conflict=(),
        together=(),
        rules=(),
        binding=(),
    )
    lines = explanation_text(found).splitlines()
    at = lines.index("the nearest that was found misses")
    assert lines[at + 1 : at + 3] == [f"  {words}" for words in found.nearest]
    assert lines[at + 3].startswith("no band was found that frees the others")


def test_an_order_that_cannot_be_rolled(tmp_path, capsys):
    """A pair outermost, in an order that is fixed, is against the rule of stock."""
    head, *places = EIGHT.split("[[place]]")
    text = "[[place]]".join([head, *places[1:], places[0]])
    path = tmp_path / "order.toml"
    path.write_text(
        text.replace('["700 mm", "1067 mm"]', '"1067 mm"'), encoding="utf-8"
    )
    out = tmp_path / "run"
    assert main(["search", str(path), "--out", str(out)]) == 1
    said = capsys.readouterr()
    assert said.out == ""
    text = (out / "explanation.txt").read_text(encoding="utf-8")
    assert text.rstrip() in said.err
    assert "nothing can be rolled of its places that keeps the rules" in text
    assert "end diameters" not in text
    assert "rule outer_straight: true" in text
    assert "rule reorder: false" in text
    values = json.loads((out / "explanation.json").read_text(encoding="utf-8"))
    assert {one["limit"] for one in values["binding"]} == {
        "rule outer_straight: true",
        "rule reorder: false",
        'place "torque pair": it must be there',
    }
    assert main(["review", str(out)]) == 1
    assert "rule reorder: false" in capsys.readouterr().err


def test_what_can_be_is_found_and_not_explained(scenario, library):
    spec = asking(scenario)
    none = np.zeros((0, encode(spec, library).n_genes), dtype=np.int64)
    found = explain(spec, library, none, evaluations=5_000)
    assert found is not None
    assert found.keeping
    designs = Search(encode(spec, library))._evaluate(np.array(found.keeping))
    assert (designs.violation <= 0.0).all()
    assert explain(spec, library, none, evaluations=9, is_over=lambda: True) is None


def test_a_limit_let_go_leaves_designs_what_they_are(scenario, library):
    encoding = encode(scenario, library)
    search = Search(encoding)
    genomes = search._bred(
        search.state.population, 40, search._helm, out_of_nothing=True
    )
    layups, place = encoding.decode(genomes)
    report = evaluate_batch(layups, encoding.conditions)
    limits = limits_of(encoding, library, genomes, layups, place, report)
    assert len(limits) > 40

    def sheets(encoding, layups):
        known = np.array([*encoding.conditions.sheets, None], dtype=object)
        return known[layups.sheet].tolist()

    for limit in limits:
        new = encode(limit.spec, limit.library)
        let_go = moved(genomes, encoding, new)
        others, _ = new.decode(let_go)
        for name in ("length", "mandrel", "mandrel_set", "start", "end", "wraps"):
            np.testing.assert_array_equal(getattr(others, name), getattr(layups, name))
        assert sheets(new, others) == sheets(encoding, layups)
        back, _ = encoding.decode(moved(let_go, new, encoding))
        np.testing.assert_array_equal(back.sheet, layups.sheet)
    # wraps of a place that all sit at are seen
    pair = next(x for x in limits if 'pair": 4 wraps' in x.what)
    at = (layups.wraps == 4.0) & (place == 0)
    np.testing.assert_array_equal(pair.is_at, at.any(axis=1))
    # and named with the rule that holds them too
    thick = [x for x in limits if "6 wraps, the most" in x.what]
    assert thick
    assert all(x.tried.endswith("and turns_max in [rules] as many") for x in thick)
    assert "turns_max" not in pair.tried
    # and that no listed sheet of like thickness is softer, or an angle shallower
    softest = next(
        x for x in limits if 'pair": material' in x.what and "soft" in x.what
    )
    assert "material intermediate-75, the softest" in softest.what
    assert softest.tried == "also standard-75, the next softer"
    sheet = np.array(encoding.conditions.sheets, dtype=object)[layups.sheet]
    names = np.array([[one.material for one in row] for row in sheet])
    at = (names == "intermediate-75") & (place == 0)
    np.testing.assert_array_equal(softest.is_at, at.any(axis=1))
    # what a sheet that is not listed comes nearest to
    (j,) = (j for j, one in enumerate(scenario.places) if one.name == "second pair")
    wider = next(x for x in limits if 'second pair": angle ±30' in x.what)
    assert wider.tried == "also 0"
    new = encode(wider.spec, wider.library)
    more = wider.spec.places[j].sheets
    gene = HEAD + GENES * j + SHEET
    there = np.repeat(moved(genomes[:1], encoding, new), len(more), axis=0)
    there[:, gene] = np.arange(len(more))
    nearest = moved(there, new, encoding)[:, gene]
    for one, index in zip(more, nearest, strict=True):
        taken = scenario.places[j].sheets[index]
        assert taken.material == one.material
        assert taken.angle == pytest.approx(max(one.angle, math.radians(30.0)))


@pytest.mark.parametrize("islands", [1, 2])
def test_what_turns_up_in_the_trying_is_the_front(
    tmp_path, capsys, monkeypatch, islands
):
    """A search that ends before it has a design has the one that trying came upon.

    Also where it looked at that design ahead, and did not think it worth evaluating.
    """
    path = tmp_path / "eight.toml"
    path.write_text(EIGHT, encoding="utf-8")
    out = tmp_path / "run"

    def fruitless(self, *_, **__):
        choices = self.encoding.n_choices
        every = np.indices(choices).reshape(len(choices), -1).T
        for state in self.states:
            if state.memory.size:  # what islands have in common remembers nothing
                Search(self.encoding, state)._unseen(every)
            state.progress.evaluations = 3

    monkeypatch.setattr(Solo, "run", fruitless)
    monkeypatch.setattr(Islands, "run", fruitless)
    words = ["search", str(path), "--out", str(out), "--evaluations", "3"]
    assert main([*words, "--islands", str(islands), "--workers", "1"]) == 0
    said = capsys.readouterr()
    assert "on the front" in said.out
    assert "turned up in the trying" in said.err
    assert not (out / "explanation.txt").exists()
    assert not (out / "nearest.toml").exists()
    assert len(pd.read_csv(out / "front.csv")) > 0
    # nothing of it is lost to a search that goes on
    monkeypatch.undo()
    assert main(["resume", str(out), "--evaluations", "20", "--workers", "1"]) == 0
    assert "turned up" not in capsys.readouterr().err


@pytest.mark.parametrize("key", ["explanation.txt", "explanation.json"])
def test_an_explanation_goes_when_a_design_is_found(tmp_path, key):
    path = tmp_path / "eight.toml"
    path.write_text(EIGHT, encoding="utf-8")
    out = tmp_path / "run"
    assert main(["search", str(path), "--out", str(out), "--evaluations", "2"]) == 0
    (out / key).write_text("old", encoding="utf-8")
    assert main(["resume", str(out), "--evaluations", "8"]) == 0
    assert not (out / key).exists()
