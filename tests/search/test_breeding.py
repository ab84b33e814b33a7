"""Every child can be rolled, and every derivative is a derivative."""

from dataclasses import replace

import numpy as np
import pytest

from model import METRICS, evaluate_batch
from optimiser.breeding import breed, move_ends
from optimiser.encoding import encode
from optimiser.problem import Demand
from optimiser.steer import FULL, metric_gradient, steps

KEYS = [metric.key for metric in METRICS]
NONE = np.zeros((0, 1), dtype=np.int64)


@pytest.fixture(scope="module")
def children(scenario, library):
    encoding = encode(scenario, library)
    rng = np.random.default_rng(7)
    nothing = np.zeros((0, encoding.n_genes), dtype=np.int64)
    first = breed(nothing, NONE, encoding.tables, rng, 200)
    mates = rng.integers(0, len(first), (len(first), 4))
    return encoding, breed(first, mates, encoding.tables, rng, 200)


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
    report = evaluate_batch(layups, encoding.conditions, full=False)
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


def test_derivatives_to_flag_ends_match_finite_differences(children):
    encoding, genomes = children
    layups, _ = encoding.decode(genomes[:40])
    # without run-outs the derivative is exact but for the cells
    none = np.zeros_like(layups.run_out_tip)
    layups = layups._replace(run_out_tip=none, run_out_butt=none)
    # cells shift with the ends, which the derivatives do not know of: fine cells
    conditions = replace(encoding.conditions, cell=0.002)
    report = evaluate_batch(layups, conditions, gradient=True)
    h = 2e-4
    checked = 0
    for k in range(layups.sheet.shape[1]):
        for side, name in enumerate(("start", "end")):
            ends = getattr(layups, name)
            inner = (layups.sheet[:, k] >= 0) & (ends[:, k] > 0.02)
            inner &= ends[:, k] < layups.length - 0.02
            if not inner.any():
                continue
            moved = []
            for sign in (1.0, -1.0):
                shifted = ends.copy()
                shifted[inner, k] += sign * h
                moved.append(
                    evaluate_batch(
                        layups._replace(**{name: shifted}), conditions
                    ).metrics
                )
            difference = (moved[0] - moved[1]) / (2.0 * h)
            for key in FULL:
                column = KEYS.index(key)
                slope = metric_gradient(key, report, layups.length)[inner, k, side]
                measured = difference[inner, column]
                scale = np.abs(report.metrics[inner, column])
                error = np.abs(slope - measured) / np.maximum(
                    np.abs(measured), 0.05 * scale
                )
                # the cost leaves out how the strip on the roll widens with a piece
                limit = 0.15 if key == "material_cost" else 0.02
                assert np.percentile(error, 90) < limit, key
                checked += int(inner.sum())
    assert checked > 100


def test_a_step_brings_weight_and_balance_nearer(children):
    encoding, genomes = children
    demand = Demand.of(encoding.spec)
    t = encoding.tables
    movable = np.stack([t.n_start > 1, t.n_end > 1], axis=1)
    rng = np.random.default_rng(3)

    def missed(layups):
        report = evaluate_batch(layups, encoding.conditions, full=False, gradient=True)
        columns = [KEYS.index("weight"), KEYS.index("balance_point")]
        total = np.zeros(len(layups.length))
        for j, column in enumerate(demand.column):
            if column in columns:
                value = report.metrics[:, column]
                out = np.maximum(demand.low[j] - value, value - demand.high[j])
                total += np.maximum(out, 0.0) / demand.unit[j]
        return report, total

    layups, place = encoding.decode(genomes)
    report, before = missed(layups)
    shifts = steps(
        demand, report, layups, place, movable, rng, ("weight", "balance_point")
    )
    moved, kept = move_ends(genomes, shifts, t, rng)
    _, after = missed(encoding.decode(moved)[0])
    assert kept.mean() > 0.2
    assert np.median(after[kept]) < 0.8 * np.median(before[kept])
