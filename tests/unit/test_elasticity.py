"""Exact section: closed forms, a second exact method, convergence, invariants."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import expm, null_space

from model.elasticity import exact_section
from model.errors import ModelRangeError
from model.laminate import (
    plane_stiffness,
    ring_stiffness,
    rotated_stiffness,
    tube_section,
)
from model.solid import alternating_plies, in_ply_axes, rotated_solid, solid_stiffness
from tests.benchmarks.section_errors import section_errors

STANDARD = (140e9, 9.0e9, 4.8e9, 0.30)
STIFF = (500e9, 5.5e9, 4.5e9, 0.28)
AXIAL, HOOP, RADIAL, HOOP_RADIAL, AXIAL_RADIAL, AXIAL_HOOP = range(6)


def tube(layers, bore):
    """Stiffness and radii of (constants, degrees or a pair of them, thickness)."""
    C, edges = [], [bore]
    for ply, angle, thickness in layers:
        is_pair = isinstance(angle, str)
        radians = math.radians(float(angle.strip("±")) if is_pair else angle)
        C.append(rotated_solid(solid_stiffness(*ply), radians, is_pair=is_pair))
        edges.append(edges[-1] + thickness)
    edges = np.array(edges)
    return np.array(C), edges[:-1, None], edges[1:, None]


LAYUPS = {
    "bias inside": [
        (STANDARD, "±45", 0.6e-3),
        (STANDARD, 0, 0.5e-3),
    ],
    "single turns, hoop outside": [
        (STANDARD, 45, 0.1e-3),
        (STANDARD, -45, 0.1e-3),
        (STANDARD, 45, 0.1e-3),
        (STANDARD, -45, 0.1e-3),
        (STIFF, 0, 0.3e-3),
        (STANDARD, 90, 0.06e-3),
    ],
    "thick and stiff at 25 degrees": [
        (STIFF, 25, 0.2e-3),
        (STIFF, -25, 0.2e-3),
        (STIFF, 25, 0.2e-3),
        (STIFF, -25, 0.2e-3),
        (STANDARD, 0, 1.2e-3),
    ],
    "unbalanced": [
        (STANDARD, 30, 0.4e-3),
        (STIFF, -60, 0.2e-3),
        (STANDARD, 0, 0.3e-3),
        (STANDARD, 20, 0.2e-3),
    ],
}


# --- a second exact method -------------------------------------------------------
# In t = ln r the equations of each ring have constant coefficients. The state is the
# displacements and r times the stresses on r = const; the strong form, derived here,
# is integrated exactly by matrix exponentials and fitted to the free surfaces.


def ring_system(c):
    """State (U, V, W, r sr, r t_thr, r srz), then the same of the bending, r-fold.

    With e = r², the last, as forcing. Rows of the stress part give r times s_z, s_th,
    t_zth. Bending alone is the block of rows 6 to 12 less the growth of the factor r.
    """
    shear = np.linalg.inv(c[3:5, 3:5])

    def parts(n, at, r_axial, r_zth, r_zr):
        """Derivatives and stresses of the state at `at`; r-fold strains as rows."""
        row = np.eye(n)
        U, V, W, S, T, Z = row[at : at + 6]
        DU = (S - c[0, 2] * r_axial - c[1, 2] * (U + V) - c[2, 5] * (W + r_zth)) / c[
            2, 2
        ]
        g_thr, g_zr = shear @ np.array([T, Z])
        DV, DW = g_thr + U + V, g_zr - r_zr
        strain = np.array([r_axial, U + V, DU, g_thr, g_zr, W + r_zth])
        stress = c @ strain
        return DU, DV, DW, strain, stress

    n = 13
    e = np.eye(n)[12]
    zero = np.zeros(n)
    # bending, all multiplied by r: e is then r³, and every derivative gains one
    Ub, Vb, Wb, _, Tb, Zb = np.eye(n)[6:12]
    DU, DV, DW, strain_b, stress_b = parts(n, 6, e, zero, zero)
    G = np.zeros((n, n))
    G[6:12] = DU, DV, DW, stress_b[1] - Tb, stress_b[1] - Tb, stress_b[5]
    G[6:12] += np.eye(n)[6:12]
    G[12, 12] = 3.0
    # a quarter turn on: strains r Wb axial, r Vb axial-hoop, -r Ub axial-radial
    DU, DV, DW, strain, stress = parts(n, 0, Wb, Vb, -Ub)
    T = np.eye(n)[4]
    G[0:6] = (
        DU,
        DV,
        DW,
        stress[1] - T - Zb,
        stress[1] - T + stress_b[5],
        stress[5] + stress_b[0],
    )
    return G, (strain, stress), (strain_b, stress_b)


def through(G, a, b):
    return expm(G * math.log(b / a))


def exact_by_exponentials(C, r_in, r_out):
    """EI, kGA, and bending strain at the radii, from the strong form."""
    R = r_out[-1, 0]
    edges = np.concatenate([r_in[:, 0], r_out[-1:, 0]]) / R
    C = C / 1e9
    systems = [ring_system(c) for c in C]
    whole = np.eye(13)
    for (G, _, _), a, b in zip(systems, edges[:-1], edges[1:], strict=True):
        whole = through(G, a, b) @ whole
    bore = edges[0]
    start = np.zeros(13)
    start[12] = bore**3
    # bending: three displacements at the bore so that the outer surface is free;
    # the rigid shift makes the problem singular but solvable
    at = whole[9:12, 6:9]
    start[6:9] = np.linalg.lstsq(at, -whole[9:12, 12] * start[12], rcond=1e-11)[0]
    rest = whole[3:6, 6:] @ start[6:]
    start[0:3] = np.linalg.lstsq(whole[3:6, 0:3], -rest, rcond=1e-11)[0]
    points, weights = np.polynomial.legendre.leggauss(24)
    EI = energy = moment = cross = 0.0
    bending = []
    state = start
    for (G, second, first), a, b, _ in zip(
        systems, edges[:-1], edges[1:], C, strict=True
    ):
        ends = [state, through(G, a, b) @ state]
        bending.append([first[0] @ y / r**2 for y, r in zip(ends, (a, b), strict=True)])
        for u, w in zip(points, weights, strict=True):
            r = (a + b) / 2 + u * (b - a) / 2
            y = through(G, a, r) @ state
            strain_b, stress_b = first[0] @ y / r**2, first[1] @ y / r**2
            strain, stress = second[0] @ y / r, second[1] @ y / r
            dA = w * (b - a) / 2 * r
            EI += np.pi * stress_b[0] * r * dA
            energy += np.pi * strain @ stress * dA
            moment += np.pi * stress[0] * r * dA
            cross += np.pi * strain_b @ stress * dA
        state = ends[1]
    turn = -moment / EI
    energy += 2 * turn * cross + turn**2 * EI
    kGA = EI**2 / energy
    return EI * R**4 * 1e9, kGA * R**2 * 1e9, np.array(bending) * R, state


@pytest.mark.parametrize("name", LAYUPS)
def test_bending_and_shear_equal_the_solution_in_powers_of_the_radius(name):
    C, r_in, r_out = tube(LAYUPS[name], 2.6e-3)
    EI, kGA, bending, state = exact_by_exponentials(C, r_in, r_out)
    # the other method leaves its own surfaces free
    np.testing.assert_allclose(state[[3, 4, 5, 9, 10, 11]], 0.0, atol=1e-8)
    section = exact_section(C, r_in, r_out, degree=5)
    assert section.EI[0] == pytest.approx(EI, rel=1e-9)
    assert section.kGA[0] == pytest.approx(kGA, rel=1e-8)
    largest = np.abs(bending).max()
    # strains are slopes, an order behind the energies
    fine = exact_section(C, r_in, r_out, degree=8)
    np.testing.assert_allclose(fine.bending[:, 0], bending, atol=1e-7 * largest)
    usual = exact_section(C, r_in, r_out)
    assert usual.EI[0] == pytest.approx(EI, rel=1e-6)
    assert usual.kGA[0] == pytest.approx(kGA, rel=1e-5)
    gap = np.abs(usual.bending[:, 0] - bending) / largest
    assert gap[..., [AXIAL, HOOP, AXIAL_HOOP]].max() < 1e-5
    # slopes at the edges of a ring that is a third of its radius thick
    assert gap.max() < 0.01


def powers(C, r_in, r_out):
    """EA and GJ held, coupling: u = A r^k + B r^-k + what e and τ ask; derived here."""
    R = r_out[-1, 0]
    n = len(C)
    k = np.sqrt(C[:, 1, 1] / C[:, 2, 2])
    even = np.isclose(C[:, 1, 1], C[:, 2, 2])
    of_e = np.zeros(n)
    of_e[~even] = ((C[:, 0, 1] - C[:, 0, 2]) / (C[:, 2, 2] - C[:, 1, 1]))[~even]
    of_twist = (C[:, 1, 5] - 2 * C[:, 2, 5]) / (4 * C[:, 2, 2] - C[:, 1, 1])

    def fields(i, r, e, twist):
        """Rows u, radial, axial and shear stress; columns A, B, rest."""
        u = np.array(
            [r ** k[i], r ** -k[i], of_e[i] * e * r + of_twist[i] * twist * r**2]
        )
        du = np.array(
            [
                k[i] * r ** (k[i] - 1),
                -k[i] * r ** (-k[i] - 1),
                of_e[i] * e + 2 * of_twist[i] * twist * r,
            ]
        )
        rest = np.array([0.0, 0.0, 1.0])
        strain = np.zeros((6, 3))
        strain[:3] = e * rest, u / r, du
        strain[5] = twist * r * rest
        return u, C[i] @ strain

    a, b = r_in[:, 0] / R, r_out[:, 0] / R
    out = np.zeros((2, 2))
    points, weights = np.polynomial.legendre.leggauss(24)
    for case, (e, twist) in enumerate(((1.0, 0.0), (0.0, 1.0))):
        A, rhs = np.zeros((2 * n, 2 * n)), np.zeros(2 * n)
        rows = []
        rows.append((fields(0, a[0], e, twist)[1][2], 0, 1, None, 0))
        for i in range(n - 1):
            low, high = fields(i, b[i], e, twist), fields(i + 1, a[i + 1], e, twist)
            rows.append((low[0], i, 1, high[0], i + 1))
            rows.append((low[1][2], i, 1, high[1][2], i + 1))
        rows.append((fields(n - 1, b[-1], e, twist)[1][2], n - 1, 1, None, 0))
        for row, (left, i, _, right, j) in enumerate(rows):
            A[row, 2 * i : 2 * i + 2] += left[:2]
            rhs[row] -= left[2]
            if right is not None:
                A[row, 2 * j : 2 * j + 2] -= right[:2]
                rhs[row] += right[2]
        scale = np.abs(A).max(axis=1)
        found = np.linalg.solve(A / scale[:, None], rhs / scale)
        for i in range(n):
            share = np.array([*found[2 * i : 2 * i + 2], 1.0])
            for u, w in zip(points, weights, strict=True):
                r = (a[i] + b[i]) / 2 + u * (b[i] - a[i]) / 2
                stress = fields(i, r, e, twist)[1] @ share
                dA = 2 * np.pi * r * w * (b[i] - a[i]) / 2
                out[case, 0] += stress[0] * dA
                out[case, 1] += stress[5] * r * dA
    return out[0, 0] * R**2, out[0, 1] * R**3, out[1, 0] * R**3, out[1, 1] * R**4


@pytest.mark.parametrize("name", LAYUPS)
def test_stretch_and_twist_equal_the_solution_in_powers_of_the_radius(name):
    C, r_in, r_out = tube(LAYUPS[name], 2.6e-3)
    EA, coupling, again, GJ_held = powers(C, r_in, r_out)
    assert coupling == pytest.approx(again, rel=1e-9, abs=1e-9 * EA * 1e-3)
    section = exact_section(C, r_in, r_out, degree=5)
    assert section.EA[0] == pytest.approx(EA, rel=1e-9)
    assert section.GJ[0] == pytest.approx(GJ_held - coupling**2 / EA, rel=1e-9)
    assert section.coupling[0] == pytest.approx(coupling, rel=1e-8, abs=1e-12 * EA)
    usual = exact_section(C, r_in, r_out)
    assert usual.GJ[0] == pytest.approx(section.GJ[0], rel=1e-6)


@pytest.mark.parametrize("name", LAYUPS)
def test_errors_fall_with_the_degree(name):
    C, r_in, r_out = tube(LAYUPS[name], 2.6e-3)
    best = exact_section(C, r_in, r_out, degree=7)
    errors = []
    for degree in (1, 2, 3, 4, 5):
        section = exact_section(C, r_in, r_out, degree=degree)
        # least energy: what is not exact is too stiff in bending
        assert section.EI[0] >= best.EI[0] * (1 - 1e-11)
        errors.append(
            [
                abs(float(section[i][0] / best[i][0]) - 1)
                for i in (0, 1, 2, 4)  # EI, GJ, EA, kGA
            ]
        )
    errors = np.array(errors)
    assert (errors[0] < 0.1).all()
    assert (errors[2] < 1e-6).all()
    # each degree gains a factor until rounding is all that is left
    assert (errors[1:] < np.maximum(0.2 * errors[:-1], 1e-10)).all()


@pytest.mark.parametrize("degree", [1, 2, 3])
def test_more_elements_close_in_at_twice_the_order(degree):
    C, r_in, r_out = tube(LAYUPS["thick and stiff at 25 degrees"], 1.5e-3)
    C, r_in, r_out = C[-2:], r_in[-2:], r_out[-2:]
    best = exact_section(C, r_in, r_out, degree=8).EI[0]
    coarse, fine = (
        exact_section(C, r_in, r_out, degree=degree, elements=n).EI[0] / best - 1
        for n in (2, 4)
    )
    assert math.log2(coarse / fine) == pytest.approx(2 * degree, abs=0.35)


# --- parts -----------------------------------------------------------------------


def test_isotropic_solid_is_alike_in_all_directions():
    E, nu = 70e9, 0.3
    C = solid_stiffness(E, E, E / 2 / (1 + nu), nu)
    lame = E * nu / (1 + nu) / (1 - 2 * nu)
    expected = np.diag([2.0, 2.0, 2.0, 1.0, 1.0, 1.0]) * E / 2 / (1 + nu)
    expected[:3, :3] += lame
    np.testing.assert_allclose(C, expected, rtol=1e-12, atol=1e-3)
    np.testing.assert_allclose(rotated_solid(C, 0.7), C, rtol=1e-12, atol=1e-3)


@pytest.mark.parametrize("degrees", [0.0, 30.0, -45.0, 90.0])
def test_plane_stress_of_the_solid_is_the_plane_stiffness(degrees):
    angle = math.radians(degrees)
    C = rotated_solid(solid_stiffness(*STANDARD), angle)
    plane = [0, 1, 5]
    Q = C[np.ix_(plane, plane)] - np.outer(C[plane, 2], C[2, plane]) / C[2, 2]
    q = rotated_stiffness(plane_stiffness(*STANDARD), angle)
    expected = [[q[0], q[1], q[4]], [q[1], q[2], q[5]], [q[4], q[5], q[3]]]
    np.testing.assert_allclose(Q, expected, rtol=1e-9, atol=1e-6 * q[0])


def test_a_pair_is_the_mean_of_its_plies():
    C = solid_stiffness(*STANDARD)
    pair = rotated_solid(C, 0.5, is_pair=True)
    mean = (rotated_solid(C, 0.5) + rotated_solid(C, -0.5)) / 2
    np.testing.assert_allclose(pair, mean, rtol=1e-12, atol=1e-3)
    assert pair[0, 5] == pair[3, 4] == 0.0


def test_strain_energy_is_the_same_in_both_axes():
    rng = np.random.default_rng(4)
    C = solid_stiffness(*STIFF)
    for angle in (0.3, -1.1):
        strain = rng.normal(size=6)
        turned = in_ply_axes(strain, angle)
        assert turned @ C @ turned == pytest.approx(
            strain @ rotated_solid(C, angle) @ strain, rel=1e-10
        )


def test_axial_strain_along_a_turned_fibre():
    strain = in_ply_axes([1e-3, 0, 0, 0, 0, 0], math.radians(30))
    c, s = math.cos(math.radians(30)), 0.5
    np.testing.assert_allclose(
        strain, [1e-3 * c * c, 1e-3 * s * s, 0, 0, 0, -2e-3 * s * c], atol=1e-18
    )


def test_plies_of_a_pair_turn_by_turn():
    t = 0.1e-3
    r_in = np.array([4e-3, 4e-3, 4e-3, 5e-3])
    turns = np.array([2.0, 1.25, 0.0, 0.5])
    inner, outer = alternating_plies(r_in, r_in + 2 * t * turns, t)
    assert inner.shape == (4, 4)
    thickness = (outer - inner) / t
    np.testing.assert_allclose(
        thickness.T,
        [[1, 1, 1, 1], [1, 1, 0.25, 0.25], [0, 0, 0, 0], [0.5, 0.5, 0, 0]],
        atol=1e-9,
    )
    np.testing.assert_allclose(outer[-1], r_in + 2 * t * turns, rtol=1e-12)
    np.testing.assert_allclose(inner[1:], outer[:-1], rtol=1e-12)


def test_a_whole_number_of_turns_is_not_split_by_rounding():
    t = 0.07e-3
    for n in range(1, 8):
        inner, _ = alternating_plies([4e-3], [4e-3 + 2 * t * n], t)
        assert len(inner) == 2 * n


def test_no_turns_are_no_plies():
    inner, outer = alternating_plies([4e-3, 5e-3], [4e-3, 5e-3], 0.1e-3)
    assert inner.shape == outer.shape == (0, 2)


# --- stations and rings ----------------------------------------------------------


def test_rings_of_no_thickness_are_left_out():
    C, _, _ = tube(LAYUPS["unbalanced"], 3e-3)
    alone = exact_section(C[[0, 2]], [[3e-3], [3.4e-3]], [[3.4e-3], [3.9e-3]])
    inner = np.array(
        [[3e-3, 3e-3], [3.4e-3, 3.4e-3], [3.4e-3, 3.6e-3], [3.9e-3, 3.9e-3]]
    )
    outer = np.array(
        [[3.4e-3, 3.4e-3], [3.4e-3, 3.6e-3], [3.9e-3, 3.9e-3], [3.9e-3, 4.1e-3]]
    )
    section = exact_section(C, inner, outer)
    for ours, theirs in zip(section[:5], alone[:5], strict=True):
        assert ours[0] == pytest.approx(theirs[0], rel=1e-12)
    assert not section.bending[[1, 3], 0].any()
    assert section.bending[:, 1].all(axis=(1, 2))[[0, 1]].all()
    np.testing.assert_allclose(
        section.bending[[0, 2], 0], alone.bending[:, 0], rtol=1e-9, atol=1e-15
    )


def test_each_station_stands_alone():
    C, r_in, r_out = tube(LAYUPS["unbalanced"], 3e-3)
    scale = np.array([1.0, 1.7, 0.8])
    section = exact_section(C, r_in * scale, r_out * scale)
    for p, factor in enumerate(scale):
        alone = exact_section(C, r_in * factor, r_out * factor)
        for ours, theirs in zip(section[:5], alone[:5], strict=True):
            assert ours[p] == theirs[0]


@pytest.mark.parametrize(
    ("r_in", "r_out", "message"),
    [
        ([[2e-3], [3e-3]], [[3e-3], [2.5e-3]], "below its inner"),
        ([[2e-3], [3e-3]], [[2e-3], [3e-3]], "no ring has any thickness"),
        ([[2e-3], [3.1e-3]], [[3e-3], [4e-3]], "does not begin where"),
        ([[-1e-3], [3e-3]], [[3e-3], [4e-3]], "inside the axis"),
        ([[2e-3]], [[3e-3]], "same rings"),
    ],
)
def test_rings_that_make_no_tube_are_refused(r_in, r_out, message):
    C = [solid_stiffness(*STANDARD)] * 2
    with pytest.raises(ModelRangeError, match=message):
        exact_section(C, r_in, r_out)


def test_a_degree_out_of_range_is_refused():
    C = [solid_stiffness(*STANDARD)]
    for wrong in ({"degree": 0}, {"degree": 9}, {"elements": 0}):
        with pytest.raises(ModelRangeError, match="degree"):
            exact_section(C, [[2e-3]], [[3e-3]], **wrong)
    with pytest.raises(ModelRangeError, match="thickness"):
        alternating_plies([3e-3], [2e-3], 1e-4)


# --- invariants ------------------------------------------------------------------

angles = st.sampled_from([0, 90, 20, -20, 45, -45, 70, "±30", "±45", "±60"])
plies = st.tuples(
    st.sampled_from([STANDARD, STIFF]), angles, st.floats(0.03e-3, 0.5e-3)
)
walls = st.lists(plies, min_size=1, max_size=6)
bores = st.floats(1.7e-3, 7e-3)


@settings(max_examples=60, deadline=None)
@given(layers=walls, bore=bores)
def test_stiffness_lies_between_bounds(layers, bore):
    C, r_in, r_out = tube(layers, bore)
    section = exact_section(C, r_in, r_out)
    second = math.pi / 4 * (r_out**4 - r_in**4)[:, 0]
    area = math.pi * (r_out**2 - r_in**2)[:, 0]
    S = np.linalg.inv(C)
    # strain held in all directions from above, stress uniaxial from below
    assert section.EI[0] <= second @ C[:, 0, 0] * (1 + 1e-12)
    assert section.EI[0] >= second @ (1 / S[:, 0, 0]) * (1 - 1e-6)
    assert section.EA[0] <= area @ C[:, 0, 0] * (1 + 1e-12)
    assert 0 < section.GJ[0] <= 2 * second @ C[:, 5, 5] * (1 + 1e-12)
    assert section.GJ[0] >= 2 * second @ (1 / S[:, 5, 5]) * (1 - 1e-6)
    assert 0 < section.kGA[0] <= area @ C[:, 5, 5]


@settings(max_examples=30, deadline=None)
@given(layers=walls, bore=bores, factor=st.floats(0.1, 10))
def test_stiffness_scales_with_the_radius(layers, bore, factor):
    C, r_in, r_out = tube(layers, bore)
    one = exact_section(C, r_in, r_out)
    other = exact_section(2.0 * C, factor * r_in, factor * r_out)
    assert other.EI[0] == pytest.approx(2 * factor**4 * one.EI[0], rel=1e-7)
    assert other.GJ[0] == pytest.approx(2 * factor**4 * one.GJ[0], rel=1e-7)
    assert other.EA[0] == pytest.approx(2 * factor**2 * one.EA[0], rel=1e-7)
    assert other.kGA[0] == pytest.approx(2 * factor**2 * one.kGA[0], rel=1e-6)
    size = one.EA[0] * bore
    assert other.coupling[0] / 2 / factor**3 == pytest.approx(
        one.coupling[0], rel=1e-7, abs=1e-9 * size
    )


@settings(max_examples=30, deadline=None)
@given(layers=walls, bore=bores)
def test_the_mirror_image_couples_the_other_way(layers, bore):
    mirrored = [
        (ply, angle if isinstance(angle, str) else -angle, t)
        for ply, angle, t in layers
    ]
    one = exact_section(*tube(layers, bore))
    other = exact_section(*tube(mirrored, bore))
    for i in (0, 1, 2, 4):
        assert other[i][0] == pytest.approx(one[i][0], rel=1e-8)
    assert other.coupling[0] == pytest.approx(
        -one.coupling[0], rel=1e-7, abs=1e-10 * one.EA[0] * bore
    )
    if all(isinstance(angle, str) or angle in (0, 90) for _, angle, _ in layers):
        assert abs(one.coupling[0]) < 1e-12 * one.EA[0] * bore


@settings(max_examples=30, deadline=None)
@given(layers=walls, bore=bores)
def test_cutting_a_ring_in_two_changes_nothing(layers, bore):
    C, r_in, r_out = tube(layers, bore)
    middle = (r_in + r_out) / 2
    twice = exact_section(
        np.repeat(C, 2, axis=0),
        np.stack([r_in, middle], 1).reshape(-1, 1),
        np.stack([middle, r_out], 1).reshape(-1, 1),
    )
    parts = exact_section(C, r_in, r_out, elements=2)
    for ours, theirs in zip(parts[:5], twice[:5], strict=True):
        assert ours[0] == pytest.approx(
            theirs[0], rel=1e-8, abs=1e-12 * parts.EA[0] * bore
        )


@settings(max_examples=30, deadline=None)
@given(layers=walls, bore=bores)
def test_surfaces_are_free_and_layers_bonded(layers, bore):
    C, r_in, r_out = tube(layers, bore)
    section = exact_section(C, r_in, r_out, degree=6)
    on_radius = [RADIAL, HOOP_RADIAL, AXIAL_RADIAL]
    tangent = [AXIAL, HOOP, AXIAL_HOOP]
    for strain in (section.bending, section.twist, section.stretch):
        stress = np.einsum("kij,ksj->ksi", C, strain[:, 0])
        size = np.abs(stress).max()
        # the energy method meets stress only as well as its polynomials can
        assert np.abs(stress[0, 0, on_radius]).max() < 1e-4 * size
        assert np.abs(stress[-1, 1, on_radius]).max() < 1e-4 * size
        jump = stress[1:, 0][:, on_radius] - stress[:-1, 1][:, on_radius]
        assert np.abs(jump).max(initial=0.0) < 1e-4 * size
        gap = strain[1:, 0, 0][:, tangent] - strain[:-1, 0, 1][:, tangent]
        assert np.abs(gap).max(initial=0.0) < 1e-9 * np.abs(strain).max()


def test_a_thin_wall_agrees_with_the_fast_section():
    layers = [(STANDARD, "±45", 0.01e-3), (STIFF, 0, 0.01e-3)]
    C, r_in, r_out = tube(layers, 6e-3)
    exact = exact_section(C, r_in, r_out)
    Q = [
        ring_stiffness(*STANDARD, math.radians(45), is_pair=True),
        ring_stiffness(*STIFF, 0.0),
    ]
    fast = tube_section(Q, r_in, r_out)
    assert fast.EI[0] == pytest.approx(exact.EI[0], rel=1e-4)
    assert fast.GJ[0] == pytest.approx(exact.GJ[0], rel=1e-4)
    assert fast.EA[0] == pytest.approx(exact.EA[0], rel=1e-4)
    # the ring sum of shear neglects how far apart the two layers lie
    assert fast.kGA[0] == pytest.approx(exact.kGA[0], rel=0.02e-3 / 6e-3)


def test_no_rigid_shift_is_left_over():
    # the six equations of a ring have exactly the rigid shift as a free motion
    G = ring_system(rotated_solid(solid_stiffness(*STANDARD), 0.4) / 1e9)[0][:6, :6]
    still = null_space(G, rcond=1e-12)
    assert still.shape == (6, 1)
    np.testing.assert_allclose(np.abs(still[:, 0]), [0.5**0.5] * 2 + [0] * 4, atol=1e-9)


def test_the_fast_section_is_good_enough_where_bias_lies_inside():
    result = section_errors(150, 7)
    assert len(result.walls) == 150
    usual = result.inside & (result.angle >= 40) & (result.angle < 65)
    usual &= [all(flag.degrees != 90 for flag in wall.flags) for wall in result.walls]
    assert usual.sum() > 15
    for errors in (result.EI, result.straight):
        assert np.median(np.abs(errors[usual])) < 0.2e-3
        assert np.abs(errors[usual]).max() < 0.005
    assert np.abs(result.bias_of_axial[usual]).max() < 0.03
    assert np.median(np.abs(result.GJ)) < 0.1e-3
    assert np.abs(result.GJ).max() < 0.005
    # over all walls far below one ring for a pair, and one hoop strain for a wall
    assert np.median(np.abs(result.GJ)) < 0.2 * np.median(np.abs(result.smeared_GJ))
