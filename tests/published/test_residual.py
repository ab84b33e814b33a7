"""Strains from cooling against textbooks and another implementation."""

import math

import numpy as np
import pytest

from model.failure import SHRINK_ACROSS, SHRINK_ALONG
from model.laminate import plane_stiffness
from tests.tubes import KAW, KAW_EXPANSION, Layer, Tube, kaw_ply, ply_of

FLAT = 1e3  # radius of a tube that is as good as a plate [m]


@pytest.mark.source(
    "A. K. Kaw, Mechanics of Composite Materials, 2nd ed., 2006, example 4.3: [0/90] "
    "graphite/epoxy of two 5 mm plies, -75 C: thermal resultants -1.131e5 Pa·m, from "
    "memory and recomputed; expansions of the ply (0.02, 22.5 µm/m/C): table 2.1"
)
def test_thermal_resultants_of_a_cross_ply():
    ply = kaw_ply()
    layers = (Layer(ply, 0, 5e-3), Layer(ply, 90, 5e-3))
    tube = Tube(FLAT, layers, drop=75.0)
    resultants = tube.cooling[:, 0] / FLAT
    # the held wall is in tension as it cools
    assert resultants[:2] == pytest.approx([1.131e5, 1.131e5], rel=5e-4)
    assert resultants[2] == pytest.approx(0.0, abs=1e-6)


@pytest.mark.source(
    "Aerospatiale composite stress manual, MTS 006, example V9.3, read through a "
    "public test: carbon/epoxy, eight plies (0, 45, -45, 90)s, cooled by 160 K: the "
    "laminate strains by -138.5 µm/m, the 0 degree ply bears -28.8 and 28.8 MPa"
)
def test_curing_stresses_of_a_quasi_isotropic_laminate():
    E1, E2, G12, nu12 = 130e9, 4.65e9, 4.65e9, 0.35
    ply = ply_of(E1, E2, G12, nu12, 1e9, 1e9, 1e9, 1e9, 1e9, (-1e-6, 40e-6))
    first, last = Layer(ply, 0, 0.26e-3), Layer(ply, 90, 0.26e-3)
    singly = (Layer(ply, 45, 0.26e-3), Layer(ply, -45, 0.26e-3))
    pair = (Layer(ply, 45, 0.52e-3, is_pair=True),)
    for middle in (singly, pair):
        tube = Tube(FLAT, (first, *middle, last), drop=160.0)
        strain = tube.free[:, 0] * 1e6
        assert strain == pytest.approx([-138.5, -138.5, 0.0], abs=0.2)
        limits = tube.rings.limits[0]
        along = tube.free[0, 0] + limits[SHRINK_ALONG]
        across = tube.free[1, 0] + limits[SHRINK_ACROSS]
        q11, q12, q22, _ = plane_stiffness(E1, E2, G12, nu12)
        stress = q11 * along + q12 * across, q12 * along + q22 * across
        assert np.array(stress) / 1e6 == pytest.approx([-28.8, 28.8], abs=0.1)


@pytest.mark.source(
    "3pc-laminate 1.0.0: expansion of laminates (alphax, alphay, alphaxy)"
)
@pytest.mark.parametrize(
    "angles", [(0, 90, 0), (0, 30, -45), (45, -45, 45, -45), (20, 20), (0, 60, -60, 90)]
)
def test_expansion_of_laminates(angles):
    laminate = pytest.importorskip("laminate.laminate")
    from material.orthotropic import Orthotropic
    from ply.ply import Ply

    fibre = Orthotropic(
        matID="1",
        E1=KAW["E1"],
        E2=KAW["E2"],
        G12=KAW["G12"],
        G13=KAW["G12"],
        G23=KAW["G12"],
        v12=KAW["nu12"],
        alpha1=KAW_EXPANSION[0],
        alpha2=KAW_EXPANSION[1],
    )
    plies = [Ply(plyID=str(a), angle=a, material=fibre, thickness=1e-3) for a in angles]
    other = laminate.Laminate(lamID="1", stacking_sequence=plies, offset="mid")
    tube = Tube(FLAT, [Layer(kaw_ply(), a, 1e-3) for a in angles], drop=1.0)
    expected = [other.alphax, other.alphay, other.alphaxy]
    largest = max(abs(value) for value in expected)
    assert -tube.free[:, 0] == pytest.approx(expected, abs=1e-5 * largest)


@pytest.mark.source("exact: a wall of one material shrinks freely, without strain left")
def test_one_ply_keeps_no_strain():
    tube = Tube(5e-3, (Layer(kaw_ply(), 30, 0.4e-3), Layer(kaw_ply(), 30, 0.3e-3)))
    assert np.all(tube.free == 0.0)
    tube = Tube(5e-3, (Layer(kaw_ply(), 30, 0.4e-3),), drop=100.0)
    c, s = math.cos(math.pi / 6), math.sin(math.pi / 6)
    x, y, g = tube.free[:, 0]
    along = c * c * x + s * s * y + c * s * g
    across = s * s * x + c * c * y - c * s * g
    assert along == pytest.approx(-100 * KAW_EXPANSION[0], rel=1e-9)
    assert across == pytest.approx(-100 * KAW_EXPANSION[1], rel=1e-9)


@pytest.mark.source("exact: resultants of the stresses that are left vanish")
def test_residual_stresses_balance():
    layers = (
        Layer(kaw_ply(), 45, 0.3e-3, is_pair=True),
        Layer(kaw_ply(), 90, 0.05e-3),
        Layer(kaw_ply(), 0, 0.5e-3),
    )
    tube = Tube(5e-3, layers, drop=100.0)
    q11, q12, q22, q66 = plane_stiffness(**KAW)
    x, y, g = tube.free[:, 0]
    assert g == pytest.approx(0.0, abs=1e-15)
    total = np.zeros(2)
    for k, layer in enumerate(layers):
        a = math.radians(layer.degrees)
        c, s = math.cos(a), math.sin(a)
        area = (tube.r_out[k, 0] ** 2 - tube.r_in[k, 0] ** 2) / 2
        along = c * c * x + s * s * y + tube.rings.limits[k, SHRINK_ALONG]
        across = s * s * x + c * c * y + tube.rings.limits[k, SHRINK_ACROSS]
        s1, s2 = q11 * along + q12 * across, q12 * along + q22 * across
        s6 = q66 * 2 * c * s * (y - x)
        # the stresses of the mirrored ply cancel in shear
        axial = c * c * s1 + s * s * s2 - 2 * c * s * s6
        hoop = s * s * s1 + c * c * s2 + 2 * c * s * s6
        total += area * np.array([axial, hoop])
    scale = q22 * 22.5e-4 * 5e-3 * 0.85e-3
    assert total == pytest.approx([0.0, 0.0], abs=1e-9 * scale)
