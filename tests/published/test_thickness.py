"""Thickness and contents of a ply from its constituents."""

import pytest

from model.micromechanics import areal_mass, ply_thickness, resin_after_bleed

RULE = (
    "constituent-content rule: ASTM D3171, method II, and CMH-17-1, from memory; "
    "figures worked out by hand"
)


@pytest.mark.source(RULE)
@pytest.mark.parametrize(
    ("faw", "resin", "fibre_density", "mass", "thickness", "Vf", "density"),
    [
        (125, 0.25, 1.80, 166.67, 0.1042, 0.6667, 1.6000),
        (50, 0.30, 1.80, 71.43, 0.0456, 0.6087, 1.5652),
        (125, 0.25, 2.19, 166.67, 0.0918, 0.6218, 1.8155),
    ],
)
def test_ply_from_contents(faw, resin, fibre_density, mass, thickness, Vf, density):
    fibre_mass = faw * 1e-3
    found_mass = areal_mass(fibre_mass, resin)
    found = ply_thickness(fibre_mass, resin, fibre_density * 1e3, 1200.0)
    assert found_mass * 1e3 == pytest.approx(mass, abs=0.5e-2)
    assert found * 1e3 == pytest.approx(thickness, abs=0.5e-4)
    assert fibre_mass / (fibre_density * 1e3) / found == pytest.approx(Vf, abs=0.5e-4)
    assert found_mass / found * 1e-3 == pytest.approx(density, abs=0.5e-4)


@pytest.mark.source(RULE)
def test_bleed_takes_resin_only():
    """100 g of prepreg with 25 g of resin that loses 2 g has 23 g in 98 g."""
    after = resin_after_bleed(0.25, 0.02)
    assert after == pytest.approx(23 / 98, rel=1e-15)
    assert areal_mass(0.075, after) == pytest.approx(0.098, rel=1e-15)
