"""Every child can be rolled."""

from dataclasses import replace

import numpy as np
import pytest

from model import METRICS, evaluate_batch
from optimiser.breeding import _change_wraps, breed
from optimiser.decoding import GENES, HEAD, WRAPS
from optimiser.diameters import _end_radii
from optimiser.encoding import encode
from optimiser.genes import is_there
from optimiser.problem import Demand
from tests.shop_rules import broken

KEYS = [metric.key for metric in METRICS]
NONE = np.zeros((0, 1), dtype=np.int64)
NO_RUN_OUT = {"run_out_tip": 0.0, "run_out_butt": 0.0}


@pytest.fixture(scope="module")
def children(scenario, library):
    encoding = encode(scenario, library)
    rng = np.random.default_rng(7)
    nothing = np.zeros((0, encoding.n_genes), dtype=np.int64)
    first, _ = breed(nothing, NONE, encoding.tables, rng, 200)
    mates = rng.integers(0, len(first), (len(first), 4))
    return encoding, breed(first, mates, encoding.tables, rng, 200)[0]


def flags_of(encoding, genome):
    design = encoding.design(genome, "child")
    return design, design.flags


def test_genes_are_indices_of_choices(children):
    encoding, genomes = children
    assert len(genomes) == 200
    assert (genomes >= 0).all()
    assert (genomes < encoding.n_choices).all()


def test_children_obey_the_rules_of_construction(children):
    encoding, genomes = children
    rules = encoding.spec.rules
    for genome in genomes:
        design, flags = flags_of(encoding, genome)
        length = design.shaft.length
        for flag in flags:
            assert flag.end - flag.start >= rules.flag_length_min - 1e-9
        inner = sorted(
            x for f in flags for x in (f.start, f.end) if 1e-9 < x < length - 1e-9
        )
        assert (np.diff(inner) >= rules.end_spacing_min - 1e-9).all()
        assert len({f.material for f in flags}) <= rules.materials_max
        full = [f for f in flags if f.start == 0.0 and f.end > length - 1e-9]
        assert full[-1].angle == 0.0
        assert not full[-1].is_pair


def test_children_have_their_end_diameters_in_band(children):
    encoding, genomes = children
    layups, _ = encoding.decode(genomes)
    report = evaluate_batch(layups, encoding.conditions)
    demand = Demand.of(encoding.spec)
    for key in ("tip_diameter", "butt_diameter"):
        column = KEYS.index(key)
        for j in np.flatnonzero(demand.column == column):
            value = report.metrics[:, column]
            assert (value >= demand.low[j] - 1e-9).all()
            assert (value <= demand.high[j] + 1e-9).all()


def test_fixed_choices_stay_fixed(children):
    encoding, genomes = children
    fixed = encoding.n_choices == 1
    assert (genomes[:, fixed] == 0).all()


def test_wraps_are_exchanged_between_flags_at_the_same_thickness(children):
    """Where another flag makes up for it, the build keeps its radius at both ends."""
    encoding, genomes = children
    t, rng = encoding.tables, np.random.default_rng(3)
    same, far, n = 0, 0, 0
    for genome in np.repeat(genomes, 5, axis=0):
        changed = genome.copy()
        place = int(rng.integers(len(encoding.spec.places)))
        if not is_there(genome, t, place):
            continue
        _change_wraps(changed, t, rng, place)
        steps = np.abs(changed - genome)[HEAD + WRAPS :: GENES]
        assert (
            np.delete(changed, np.s_[HEAD + WRAPS :: GENES])
            == np.delete(genome, np.s_[HEAD + WRAPS :: GENES])
        ).all()
        if np.count_nonzero(steps) == 2:
            n += 1
            far += steps.max() > 1
            half_turn = 0.25 * t.turn.max()
            before, after = _end_radii(genome, t), _end_radii(changed, t)
            same += np.abs(np.subtract(after, before)).max() <= half_turn + 1e-9
    assert n > 100
    assert same > 0.8 * n  # the rest is at the end of its choices
    assert far > 0.3 * n


def bred(spec, library, n):
    encoding = encode(spec, library)
    nothing = np.zeros((0, encoding.n_genes), dtype=np.int64)
    genomes, _ = breed(nothing, NONE, encoding.tables, np.random.default_rng(11), n)
    return encoding, genomes


@pytest.mark.parametrize(
    ("tip", "butt"), [(0.010, 0.015), (0.025, 0.040), (0.004, 0.0)]
)
def test_run_outs_at_the_ends_of_the_shaft_count_as_far_as_they_reach(
    scenario, library, tip, butt
):
    """Some or all of a run-out at an end lies in the trim, which is cut off."""
    no_stock = replace(scenario.finish, grind=0.0, tip_diameter=None, coating=0.0)
    places = tuple(
        replace(p, run_out_tip=tip, run_out_butt=butt) for p in scenario.places
    )
    of_any_size = tuple(
        t for t in scenario.targets if not t.metric.endswith("_diameter")
    )
    spec = replace(scenario, places=places, finish=no_stock, targets=of_any_size)
    assert spec.trim_tip < 0.025
    assert spec.trim_butt < 0.040
    encoding, genomes = bred(spec, library, 100)
    assert len(genomes) == 100
    layups, _ = encoding.decode(genomes)
    report = evaluate_batch(layups, encoding.conditions)
    ends = [_end_radii(genome, encoding.tables) for genome in genomes]
    for i, key in enumerate(("tip_diameter", "butt_diameter")):
        built = 2.0 * np.array([radii[i] for radii in ends])
        np.testing.assert_allclose(
            report.metrics[:, KEYS.index(key)], built, rtol=1e-9, err_msg=key
        )


def test_ends_that_are_moved_apart_leave_room_for_both_run_outs(scenario, library):
    """Two flags must part, and one way that they could is shorter than its run-outs."""
    inner = [i for i, p in enumerate(scenario.places) if max(p.ends) < 0.6]
    assert len(inner) >= 2
    places = list(scenario.places)
    for i in inner:
        places[i] = replace(
            places[i],
            ends=(0.230, 0.240, 0.250),
            run_out_tip=0.0,
            run_out_butt=0.240,
            optional=False,
        )
    encoding, genomes = bred(replace(scenario, places=tuple(places)), library, 200)
    assert len(genomes) > 0
    assert broken(encoding, genomes).max() <= 0.0


def test_a_mandrel_limits_square_starts_only_where_a_shaft_lies_on_it(
    scenario, library
):
    """A steep shank beyond the last station that a shaft reaches is no matter."""
    encoding = encode(scenario, library)
    name = scenario.mandrels[0]
    plain = library.mandrels[name]
    shank = replace(
        plain,
        distance=(*plain.distance, plain.distance[-1] + 0.010),
        diameter=(*plain.diameter, plain.diameter[-1] + 0.002),
    )
    other = replace(library, mandrels={**library.mandrels, name: shank})
    # sets that reach the shank are not among the choices
    sets = tuple(
        x
        for x in scenario.mandrel_sets
        if x + max(scenario.lengths) + scenario.trim_butt <= plain.distance[-1]
    )
    with_shank = encode(replace(scenario, mandrel_sets=sets), other).tables
    np.testing.assert_array_equal(with_shank.taper, encoding.tables.taper)
    assert len(with_shank.taper) == len(scenario.mandrels)


def test_a_flag_of_no_length_is_none(scenario, library):
    """Where rules allow any length and starts and ends share a station."""
    rules = replace(scenario.rules, flag_length_min=0.0, end_spacing_min=0.0)
    places = tuple(
        replace(place, starts=(0.2, 0.5), ends=(0.5, 0.9), **NO_RUN_OUT)
        if place.name == "middle"
        else place
        for place in scenario.places
    )
    assert places != scenario.places
    spec = replace(scenario, places=places, rules=rules)
    encoding, genomes = bred(spec, library, 200)
    layups, _ = encoding.decode(genomes)
    there = layups.sheet >= 0
    assert (there & (layups.start == 0.5)).any()
    assert (there & (layups.end == 0.5)).any()
    assert (layups.end > layups.start)[there].all()
    assert np.isfinite(evaluate_batch(layups, encoding.conditions).metrics).any()
