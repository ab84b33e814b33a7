"""Facts of materials, balance and hypervolume that the model stands on."""

import moocore
import numpy as np
import pytest
from pymoo.indicators.hv import HV

MSI = 6.894757e9
KSI = 6.894757e6


@pytest.mark.source("common practice")
def test_two_shafts_of_equal_moment_about_the_14_inch_fulcrum():
    assert pytest.approx(85 * (19.3 - 14), rel=0.002) == 45 * (24 - 14)


@pytest.mark.source("common practice")
def test_failure_strain_of_fibres():
    assert pytest.approx(0.021, abs=0.0005) == 700 * KSI / (33 * MSI)
    assert pytest.approx(0.026, abs=0.0005) == 1100 * KSI / (42 * MSI)


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
    [(lambda x: 1 - np.sqrt(x), 0.876667), (lambda x: 1 - x**2, 0.543333)],
)
def test_hypervolume_of_known_fronts(f2, value):
    front = square_front(20_001, f2)
    ours = moocore.hypervolume(front, ref=np.array([1.1, 1.1]))
    assert ours == pytest.approx(value, abs=1e-4)
    theirs = HV(ref_point=np.array([1.1, 1.1]))(front)
    assert ours == pytest.approx(theirs, rel=1e-9)


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
    assert HV(ref_point=ref)(F) == pytest.approx(value)
