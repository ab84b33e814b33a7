"""Ply and laminate stiffness against the literature and registry libraries."""

import math

import numpy as np
import pytest

from model.laminate import (
    plane_stiffness,
    ring_stiffness,
    rotated_stiffness,
    tube_section,
)

KAW = "A. K. Kaw, Mechanics of Composite Materials, 2nd ed., 2006, "
PLY = (181e9, 10.3e9, 7.17e9, 0.28)
Q11, Q12, Q22, Q66, Q16, Q26 = range(6)


def matrix(q):
    return np.array(
        [
            [q[Q11], q[Q12], q[Q16]],
            [q[Q12], q[Q22], q[Q26]],
            [q[Q16], q[Q26], q[Q66]],
        ]
    )


@pytest.mark.source(KAW + "example 2.6")
def test_stiffness_of_a_ply():
    q = np.array(plane_stiffness(*PLY)) / 1e9
    error = np.abs(q - [181.8, 2.897, 10.35, 7.17])
    assert (error <= [0.05, 0.0005, 0.005, 0.005]).all()


@pytest.mark.source(KAW + "example 2.7")
def test_stiffness_of_a_ply_at_60_degrees():
    q = rotated_stiffness(plane_stiffness(*PLY), math.radians(60)) / 1e9
    for index, printed, half_digit in (
        (Q11, 23.65, 0.005),
        (Q12, 32.46, 0.005),
        (Q16, 20.05, 0.005),
        (Q22, 109.4, 0.05),
        (Q26, 54.19, 0.005),
        (Q66, 36.74, 0.005),
    ):
        assert q[index] == pytest.approx(printed, abs=half_digit * 1.05)


def abd(angles, thickness):
    n = len(angles)
    z = (np.arange(n + 1) - n / 2) * thickness
    q = [
        matrix(rotated_stiffness(plane_stiffness(*PLY), math.radians(a)))
        for a in angles
    ]
    return [
        sum(Qk * (b**p - a**p) / p for Qk, a, b in zip(q, z[:-1], z[1:], strict=True))
        for p in (1, 2, 3)
    ]


@pytest.mark.source(KAW + "example 4.2, [0/30/-45] of 5 mm plies")
def test_laminate_stiffness():
    A, B, D = abd([0, 30, -45], 5e-3)
    printed_A = [[1.739e9, 3.884e8, 5.663e7], [0, 4.533e8, -1.141e8], [0, 0, 4.525e8]]
    printed_B = [[-3.129e6, 9.855e5, -1.072e6], [0, 1.158e6, -1.072e6], [0, 0, 9.855e5]]
    printed_D = [[3.343e4, 6461, -5240], [0, 9320, -5596], [0, 0, 7663]]
    upper = np.triu_indices(3)
    for ours, printed in ((A, printed_A), (B, printed_B), (D, printed_D)):
        # half a unit of the fourth printed digit
        np.testing.assert_allclose(ours[upper], np.array(printed)[upper], rtol=5e-4)


@pytest.mark.source("composipy 1.7.5, A B D of [0/30/-45]")
def test_laminate_stiffness_by_composipy():
    composipy = pytest.importorskip("composipy")
    ply = composipy.OrthotropicMaterial(181e9, 10.3e9, 0.28, 7.17e9, 5e-3)
    theirs = composipy.LaminateProperty([0, 30, -45], ply)
    A, B, D = abd([0, 30, -45], 5e-3)
    np.testing.assert_allclose(theirs.A, A, rtol=1e-9)
    np.testing.assert_allclose(theirs.B, B, rtol=1e-9)
    np.testing.assert_allclose(theirs.D, D, rtol=1e-9)


@pytest.mark.source("3pc-laminate 1.0.0, A B D of [0/30/-45]")
def test_laminate_stiffness_by_another_library():
    laminate = pytest.importorskip("laminate.laminate")
    from material.orthotropic import Orthotropic
    from ply.ply import Ply

    E1, E2, G12, nu12 = PLY
    fibre = Orthotropic(matID="1", E1=E1, E2=E2, G12=G12, G13=G12, G23=G12, v12=nu12)
    stack = [
        Ply(plyID=str(a), angle=a, material=fibre, thickness=5e-3) for a in (0, 30, -45)
    ]
    theirs = laminate.Laminate(lamID="1", stacking_sequence=stack, offset="mid")
    A, B, D = abd([0, 30, -45], 5e-3)
    np.testing.assert_allclose(theirs.A, A, rtol=1e-9)
    np.testing.assert_allclose(theirs.B, B, rtol=1e-9)
    np.testing.assert_allclose(theirs.D, D, rtol=1e-9)


@pytest.mark.source("computed independently; " + KAW + "section 2.7")
@pytest.mark.parametrize(
    ("degrees", "Ex", "Gxy"),
    [(15, 72.629, 7.632), (30, 28.780, 8.761), (45, 16.737, 9.460)],
)
def test_off_axis_constants(degrees, Ex, Gxy):
    q = matrix(rotated_stiffness(plane_stiffness(*PLY), math.radians(degrees)))
    s = np.linalg.inv(q) * 1e9
    assert 1 / s[0, 0] == pytest.approx(Ex, abs=5e-4)
    assert 1 / s[2, 2] == pytest.approx(Gxy, abs=5e-4)


@pytest.mark.source("computed independently to the digits shown; " + KAW + "chapter 4")
@pytest.mark.parametrize(
    ("degrees", "Ex", "Gxy", "nu"),
    [(45, 25.051, 46.591, 0.7469), (30, 64.814, 36.736, 1.3728)],
)
def test_balanced_pair(degrees, Ex, Gxy, nu):
    q = rotated_stiffness(plane_stiffness(*PLY), math.radians(degrees), is_pair=True)
    s = np.linalg.inv(matrix(q)) * 1e9
    assert 1 / s[0, 0] == pytest.approx(Ex, abs=5e-4)
    assert 1 / s[2, 2] == pytest.approx(Gxy, abs=5e-4)
    assert -s[0, 1] / s[0, 0] == pytest.approx(nu, abs=5e-5)


@pytest.mark.source("exact: second moments of a circular ring")
@pytest.mark.parametrize("nu", [0.0, 0.3])
@pytest.mark.parametrize(("inner", "outer"), [(2.5e-3, 4.25e-3), (6.5e-3, 7.5e-3)])
def test_isotropic_tube(nu, inner, outer):
    E = 70e9
    G = E / 2 / (1 + nu)
    q = ring_stiffness(E, E, G, nu, 0.0)
    radii = np.linspace(inner, outer, 5)
    section = tube_section([q] * 4, radii[:-1, None], radii[1:, None])
    second = math.pi / 4 * (outer**4 - inner**4)
    area = math.pi * (outer**2 - inner**2)
    assert section.GJ[0] == pytest.approx(2 * G * second, rel=1e-12)
    assert section.EA[0] == pytest.approx(E * area, rel=1e-12)
    assert section.EI[0] == pytest.approx(E * second, rel=1e-10)


@pytest.mark.source("exact: linear momentum balance of a thin tube, G of a bias pair")
def test_thin_bias_tube_takes_the_stiffness_of_a_pair():
    r, t = 7e-3, 1e-6
    q = ring_stiffness(*PLY, math.radians(45), is_pair=True)
    section = tube_section([q], [[r - t / 2]], [[r + t / 2]])
    assert section.GJ[0] == pytest.approx(2 * math.pi * r**3 * t * 46.591e9, rel=1e-4)
    assert section.EI[0] == pytest.approx(math.pi * r**3 * t * 25.051e9, rel=1e-4)
