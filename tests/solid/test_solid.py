"""Solid finite elements: closed forms, convergence, the table that is kept."""

import csv
from itertools import pairwise

import numpy as np
import pytest

pytest.importorskip("skfem")

from model import read_library
from model.accuracy_solid import (
    EXACT_SECTION,
    SHAFT,
    SHAFT_METRICS,
    WHOLE_EXACT,
    shaft_figures,
    solid_shaft,
    solid_walls,
    wall_figures,
)
from tests.solid.solid_shaft import SolidShaft
from tests.solid.solid_tube import ring_stiffness, section
from tests.solid.study import (
    FINE_TUBE_MESH,
    SHAFT_MESH,
    TABLE,
    solid_metrics,
    solid_tubes,
)

E, NU = 70e9, 0.3
METAL = (E, E, E / 2 / (1 + NU), NU, 0.0, False)
RADII = (4e-3, 5e-3, 6e-3)


@pytest.fixture(scope="module")
def recorded():
    with TABLE.open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def closed_form():
    second = np.pi / 4 * (RADII[-1] ** 4 - RADII[0] ** 4)
    return {
        "EI": E * second,
        "GJ": E / (1 + NU) * second,
        "EA": E * np.pi * (RADII[-1] ** 2 - RADII[0] ** 2),
    }


def test_isotropic_tube_in_closed_form():
    """The error falls with the fourth power of the arc."""
    exact = closed_form()
    errors = []
    for n_theta in (8, 16, 32):
        found = section([METAL, METAL], RADII, n_theta)
        errors.append({key: abs(found[key] / exact[key] - 1) for key in exact})
    assert errors[-1]["EI"] < 5e-6
    assert errors[-1]["GJ"] < 1e-8
    assert errors[-1]["EA"] < 1e-7
    for coarse, fine in pairwise(errors):
        assert np.log2(coarse["EI"] / fine["EI"]) == pytest.approx(4.0, abs=0.4)


def test_material_of_a_ring_keeps_its_invariants():
    """Turning the fibres changes no eigenvalue of the stiffness, with tensor shears."""
    scale = np.sqrt([1, 1, 1, 2, 2, 2])
    flat = ring_stiffness(181e9, 10.3e9, 7.17e9, 0.28, 0.0, False)
    turned = ring_stiffness(181e9, 10.3e9, 7.17e9, 0.28, 0.7, False, slope=0.1)
    eigenvalues = [
        np.linalg.eigvalsh(C * np.outer(scale, scale)) for C in (flat, turned)
    ]
    np.testing.assert_allclose(*eigenvalues, rtol=1e-9)


def test_tubes_of_the_table(recorded):
    """The figures that are kept are what the solids give."""
    found = solid_tubes()
    for row in recorded:
        if row["case"] != SHAFT:
            solid = found[row["case"]][row["quantity"]]
            assert float(row["solid"]) == pytest.approx(solid, rel=1e-6)


def test_exact_section_against_the_solid_tubes():
    """A finer mesh than the table's comes closer to the exact section."""
    for wall in solid_walls():
        ours = wall_figures(wall, EXACT_SECTION)
        solid = section(wall.rings, wall.radii, *FINE_TUBE_MESH)
        for symbol in ("EI", "GJ", "EA"):
            assert ours[symbol] == pytest.approx(solid[symbol], rel=1e-5)


@pytest.mark.slow
def test_shaft_of_the_table(recorded):
    found = solid_metrics()
    rows = [row for row in recorded if row["case"] == SHAFT]
    assert {row["quantity"] for row in rows} == set(SHAFT_METRICS)
    for row in rows:
        assert float(row["solid"]) == pytest.approx(found[row["quantity"]], rel=1e-6)


@pytest.mark.slow
def test_mass_of_the_solid_shaft():
    """The solid weighs what the beam weighs between tip and clamp."""
    from model import evaluate

    library = read_library()
    design = solid_shaft(library)
    profile = evaluate(design, library, cell=0.005).profile
    end = design.shaft.length - design.bench.frequency_clamp
    inside = profile.station <= end + 1e-9
    beam = np.trapezoid(profile.mass_per_length[inside], profile.station[inside])
    solid = SolidShaft(design, library, 0.03, 3)
    assert solid.mass() == pytest.approx(beam, rel=2e-5)


@pytest.mark.slow
def test_convergence_of_the_solid_shaft():
    """Coarser meshes move towards the table's, which is within 0.01 % of its limit."""
    library = read_library()
    design = solid_shaft(library)
    ours = shaft_figures(WHOLE_EXACT)

    def figures(cells, n_theta):
        solid = SolidShaft(design, library, cells, n_theta)
        return np.array(solid.bending(design.bench.cantilever_load))

    coarse, middle = figures(0.020, 3), figures(0.015, 4)
    fine = figures(*SHAFT_MESH)
    assert (np.abs(fine - middle) < np.abs(middle - coarse)).all()
    np.testing.assert_allclose(middle, fine, rtol=1e-4)
    beam = [ours["cantilever_deflection"], ours["frequency"]]
    np.testing.assert_allclose(beam, fine, rtol=1e-3)
