"""Stiffness of a unidirectional ply from fibre and resin."""

import pytest

from model.micromechanics import halpin_tsai, mixture

KAW = (
    "Kaw, Mechanics of Composite Materials, 2nd ed., 2006, chapter 3, glass/epoxy of "
    "fibre volume fraction 0.7; printed values from memory, recomputed by hand"
)
FIBRE, RESIN = 85.0, 3.4  # Young's moduli [GPa]
FIBRE_SHEAR, RESIN_SHEAR = 35.42, 1.308  # E / (2 (1 + nu)) as printed, nu 0.2 and 0.3
VF = 0.7


@pytest.mark.source(KAW)
def test_modulus_along_the_fibre():
    assert mixture(FIBRE, RESIN, VF) == pytest.approx(60.52, abs=0.5e-2)


@pytest.mark.source(KAW)
def test_major_poisson_ratio():
    assert mixture(0.2, 0.3, VF) == pytest.approx(0.230, abs=0.5e-3)


@pytest.mark.source(KAW)
def test_transverse_modulus():
    assert halpin_tsai(FIBRE, RESIN, VF, 2.0) == pytest.approx(20.20, abs=0.5e-2)


@pytest.mark.source(KAW)
def test_shear_modulus():
    found = halpin_tsai(FIBRE_SHEAR, RESIN_SHEAR, VF, 1.0)
    assert found == pytest.approx(6.169, abs=0.5e-3)


@pytest.mark.source(
    "limits of the Halpin-Tsai rule (Halpin and Kardos, 1976, from memory): xi to 0 is "
    "the inverse rule of mixtures, xi to infinity the rule of mixtures"
)
def test_halpin_tsai_lies_between_its_limits():
    inverse = 1.0 / (VF / FIBRE + (1.0 - VF) / RESIN)
    assert inverse == pytest.approx(10.37, abs=0.5e-2)
    assert halpin_tsai(FIBRE, RESIN, VF, 0.0) == pytest.approx(inverse, rel=1e-12)
    parallel = mixture(FIBRE, RESIN, VF)
    assert halpin_tsai(FIBRE, RESIN, VF, 1e9) == pytest.approx(parallel, rel=1e-6)
