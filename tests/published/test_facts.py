"""Facts of materials, balance and hypervolume that the model stands on."""

import math
from itertools import pairwise

import moocore
import numpy as np
import pytest

from model import read_quantity

MSI = 6.894757e9


@pytest.mark.source("common practice")
def test_two_shafts_of_equal_moment_about_the_14_inch_fulcrum():
    def moment(mass, balance):
        arm = read_quantity(balance, "length") - read_quantity("14 in", "length")
        return read_quantity(mass, "mass") * arm

    light = moment("45 g", "24 in")
    assert light == pytest.approx(0.045 * 10 * 0.0254, rel=1e-12)
    assert moment("85 g", "19.3 in") == pytest.approx(light, rel=0.002)


@pytest.mark.source("common practice")
@pytest.mark.parametrize(
    ("strength", "modulus", "strain"),
    [("700 ksi", "33 Msi", 0.021), ("1100 ksi", "42 Msi", 0.026)],
)
def test_failure_strain_of_fibres(strength, modulus, strain):
    found = read_quantity(strength, "modulus") / read_quantity(modulus, "modulus")
    assert found == pytest.approx(strain, abs=0.0005)


@pytest.mark.source("common practice: a fibre fails at its strength over its modulus")
def test_packaged_fibres_fail_at_strength_over_modulus(library):
    for fibre in library.fibres.values():
        # strains are given to a tenth of a per cent
        assert fibre.strength / fibre.E1 == pytest.approx(fibre.strain, abs=0.0005)


@pytest.mark.source("common practice: standard fibre of 33 Msi, about 2.1 %")
def test_the_packaged_standard_fibre_is_a_standard_fibre(library):
    fibre = library.prepregs["standard-125"].fibre
    assert pytest.approx(33 * MSI, rel=0.03) == fibre.E1
    assert fibre.strength / fibre.E1 == pytest.approx(0.021, abs=0.001)


@pytest.mark.source("common practice: standard prepreg is about 30 % resin by mass")
def test_resin_content_of_the_packaged_standard_prepregs(library):
    contents = [
        prepreg.resin_content
        for prepreg in library.prepregs.values()
        if prepreg.fibre.name == "standard"
    ]
    assert np.mean(contents) == pytest.approx(0.30, abs=0.03)


def square_front(n, f2):
    x = np.linspace(0.0, 1.0, n)
    return np.stack([x, f2(x)], axis=1)


@pytest.mark.source("exact integrals of the test functions ZDT1 and ZDT2")
@pytest.mark.parametrize(
    ("f2", "value"),
    [(lambda x: 1 - np.sqrt(x), 1.21 - 1 / 3), (lambda x: 1 - x**2, 1.21 - 2 / 3)],
)
def test_hypervolume_of_known_fronts(f2, value):
    ours = moocore.hypervolume(square_front(20_001, f2), ref=np.array([1.1, 1.1]))
    assert ours == pytest.approx(value, abs=1e-4)


@pytest.mark.source(
    "exact: DTLZ2 of three objectives, an eighth of a ball: 1.1³ - pi/6"
)
def test_hypervolume_of_a_sphere_from_below():
    value = 1.1**3 - math.pi / 6
    assert value == pytest.approx(0.807401, abs=5e-7)
    missing = []
    for n in (25, 50, 100):
        a, b = np.meshgrid(*[np.linspace(0.0, math.pi / 2, n)] * 2)
        sphere = [np.cos(a) * np.cos(b), np.cos(a) * np.sin(b), np.sin(a)]
        front = np.stack([f.ravel() for f in sphere], axis=1)
        missing.append(value - moocore.hypervolume(front, ref=np.full(3, 1.1)))
    # a staircase under the surface: half the step, half of the gap
    assert 0.0 < missing[2] < 0.02
    for coarse, fine in pairwise(missing):
        assert coarse / fine == pytest.approx(2.0, abs=0.2)


@pytest.mark.source("exact: unions of boxes")
@pytest.mark.parametrize(
    ("points", "reference", "value"),
    [
        ([(1, 5), (2, 3), (4, 2), (5, 1)], (6, 6), 16.0),
        ([(0, 0, 1), (0, 1, 0), (1, 0, 0)], (2, 2, 2), 7.0),
    ],
)
def test_hypervolume_of_small_sets(points, reference, value):
    F = np.array(points, dtype=float)
    ref = np.array(reference, dtype=float)
    assert moocore.hypervolume(F, ref=ref) == pytest.approx(value)
    assert union_of_boxes(F, ref) == pytest.approx(value)


def union_of_boxes(F, ref):
    """Volume between points and reference: slices along the last objective."""
    F = F[(ref > F).all(axis=1)]
    if F.shape[1] == 1:
        return float(np.max(ref[0] - F[:, 0], initial=0.0))
    levels = [*np.unique(F[:, -1]), ref[-1]]
    return sum(
        (b - a) * union_of_boxes(F[F[:, -1] <= a, :-1], ref[:-1])
        for a, b in pairwise(levels)
    )


@pytest.mark.source("exact: union of boxes, slice by slice")
@pytest.mark.parametrize("n_objectives", [2, 3, 4])
def test_hypervolume_of_random_sets(n_objectives):
    rng = np.random.default_rng(n_objectives)
    for _ in range(5):
        F = rng.uniform(0.0, 1.2, (15, n_objectives))
        ref = np.full(n_objectives, 1.0)
        ours = moocore.hypervolume(F, ref=ref)
        assert ours == pytest.approx(union_of_boxes(F, ref), rel=1e-12)
