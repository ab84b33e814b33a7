"""Beam solvers against frequency equations, tables, a finite-element library."""

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy.optimize import brentq

from model.beam import (
    first_frequency,
    overhang_deflection,
    three_point_deflection,
    twist,
)


def cpm(x, EI, m, mass=0.0):
    return 60 * first_frequency(x, EI, m, tip_mass=mass)


def lambda_squared(ratio, n=401):
    """Dimensionless first frequency of a uniform cantilever of unit everything."""
    x = np.linspace(0.0, 1.0, n)
    one = np.ones(n)
    return 2 * math.pi * first_frequency(x, one, one, tip_mass=ratio)


@pytest.mark.source(
    "Mathematical Problems in Engineering 2017, article 1568019, table 1 (M/m = 1); "
    "others computed from the frequency equation"
)
@pytest.mark.parametrize(
    ("ratio", "value"),
    [
        (0.0, 3.51602),
        (0.5, 2.01630),
        (1.0, 1.557298),
        (2.0, 1.15820),
        (5.0, 0.75694),
        (10.0, 0.54138),
    ],
)
def test_cantilever_with_tip_mass(ratio, value):
    assert lambda_squared(ratio) == pytest.approx(value, abs=1e-5)


@pytest.mark.source("exact: frequency equation of a cantilever with a tip mass")
@pytest.mark.parametrize("ratio", [0.1, 0.7, 3.92, 20.0])
def test_frequency_equation(ratio):
    def equation(s):
        c, ch, sn, sh = math.cos(s), math.cosh(s), math.sin(s), math.sinh(s)
        return 1 + c * ch + ratio * s * (c * sh - sn * ch)

    root = brentq(equation, 0.1, 1.8751041)
    assert lambda_squared(ratio) == pytest.approx(root**2, rel=1e-5)


def frequency_with_a_head(EI, m, length, mass, offset, inertia):
    """First frequency of a uniform cantilever with a rigid head, in Hz.

    The root of the determinant of the two conditions at the tip: shear force and
    moment of the beam carry the head's, whose centre lies `offset` beyond the tip.
    """

    def determinant(b):
        c, s, ch, sh = (
            f(b * length) for f in (math.cos, math.sin, math.cosh, math.sinh)
        )
        omega2 = b**4 * EI / m
        # the shape is a mix of these two, which vanish with their slopes at the clamp
        first = (ch - c, b * (sh + s), b**2 * (ch + c), b**3 * (sh - s))
        second = (sh - s, b * (ch - c), b**2 * (sh + s), b**3 * (ch + c))
        rows = []
        for y, slope, bend, shear in (first, second):
            centre = y + offset * slope
            force = EI * shear + omega2 * mass * centre
            couple = EI * bend - omega2 * (inertia * slope + mass * offset * centre)
            rows.append((force, couple))
        return rows[0][0] * rows[1][1] - rows[0][1] * rows[1][0]

    b = brentq(determinant, 0.3 / length, 1.8751 / length, xtol=1e-14)
    return b**2 * math.sqrt(EI / m) / (2 * math.pi)


@pytest.mark.source("exact: boundary conditions of a cantilever with a rigid tip body")
@pytest.mark.parametrize(
    ("offset", "inertia"), [(0.0, 0.0), (0.035, 0.0), (0.0, 3e-4), (0.035, 3e-4)]
)
def test_head_with_offset_and_inertia(offset, inertia):
    EI, m, length, mass = 40.0, 0.050, 1.0, 0.196
    x = np.linspace(0.0, length, 401)
    ours = first_frequency(
        x,
        0 * x + EI,
        0 * x + m,
        tip_mass=mass,
        tip_mass_offset=offset,
        tip_mass_inertia=inertia,
    )
    exact = frequency_with_a_head(EI, m, length, mass, offset, inertia)
    assert ours == pytest.approx(exact, rel=2e-6)


@pytest.mark.source("computed independently from the frequency equation")
def test_uniform_shaft_with_a_driver_mass():
    x = np.linspace(0.0, 1.0, 201)
    assert cpm(x, 0 * x + 40.0, 0 * x + 0.050, 0.196) == pytest.approx(229.47, abs=5e-3)


def tapered(c, n):
    """Free end first; width and height fall linearly by the share c towards it."""
    x = np.linspace(0.0, 1.0, n)
    s = 1 - c * (1 - x)
    return x, s**4, s**2


@pytest.mark.source(
    "International Journal of Mechanical and Materials Engineering 2015, paper 40, "
    "table 1; c = 0.5 computed independently"
)
@pytest.mark.parametrize(
    ("c", "value"), [(0.2, 3.85512), (0.4, 4.31878), (0.6, 5.00903), (0.5, 4.625150)]
)
def test_tapered_cantilever(c, value):
    omega = 2 * math.pi * first_frequency(*tapered(c, 1201))
    assert omega == pytest.approx(value, abs=1e-5)


@pytest.mark.source("scikit-fem, Hermite line elements on the same tapered cantilever")
def test_tapered_cantilever_by_finite_elements():
    skfem = pytest.importorskip("skfem")
    from scipy.sparse.linalg import eigsh
    from skfem.helpers import dd, ddot

    c = 0.5
    mesh = skfem.MeshLine(np.linspace(0.0, 1.0, 41))
    basis = skfem.Basis(mesh, skfem.ElementLineHermite(), intorder=8)

    @skfem.BilinearForm
    def stiffness(u, v, w):
        return (1 - c * (1 - w.x[0])) ** 4 * ddot(dd(u), dd(v))

    @skfem.BilinearForm
    def mass(u, v, w):
        return (1 - c * (1 - w.x[0])) ** 2 * u * v

    K, M = stiffness.assemble(basis), mass.assemble(basis)
    clamped = basis.get_dofs(lambda x: np.isclose(x[0], 1.0)).all()
    inner = np.setdiff1d(np.arange(K.shape[0]), clamped)
    Ki, Mi = K[inner][:, inner].tocsc(), M[inner][:, inner].tocsc()
    omega2 = eigsh(Ki, k=1, M=Mi, sigma=0.0, return_eigenvectors=False)[0]
    ours = 2 * math.pi * first_frequency(*tapered(c, 1201))
    assert ours == pytest.approx(math.sqrt(omega2), rel=2e-6)


@pytest.mark.source("exact: second-order method on a tapered cantilever")
def test_error_falls_with_the_square_of_the_cell():
    exact = 4.625150 / (2 * math.pi)
    reference = first_frequency(*tapered(0.5, 3201))
    assert reference == pytest.approx(exact, rel=1e-6)
    errors = [abs(first_frequency(*tapered(0.5, n)) - reference) for n in (21, 41, 81)]
    for coarse, fine in pairwise(errors):
        assert math.log2(coarse / fine) == pytest.approx(2.0, abs=0.1)


@pytest.mark.source("exact: integral of 1/GJ of a cone, GJ as the fourth power of x")
def test_error_of_twist_falls_with_the_square_of_the_cell():
    exact = (1 / 0.6**3 - 1) / (3 * 0.4)

    def error(n):
        x = np.linspace(0.0, 1.0, n)
        return abs(twist(x, (0.6 + 0.4 * x) ** 4, 0, n - 1, 1.0) - exact)

    errors = [error(n) for n in (21, 41, 81)]
    assert errors[-1] < 1e-3 * exact
    for coarse, fine in pairwise(errors):
        assert math.log2(coarse / fine) == pytest.approx(2.0, abs=0.1)


@pytest.mark.source("exact: P S³/(48 EI) + P S/(4 kGA)")
@pytest.mark.parametrize("span", [0.150, 0.300])
def test_three_point_bending_with_shear(span):
    x = np.linspace(0.0, 0.6, 61)
    EI, kGA, load = 40.0, 6e4, 400.0
    y = three_point_deflection(
        x, 0 * x + EI, 0 * x + kGA, centre=0.3, span=span, load=load
    )
    assert y == pytest.approx(
        load * span**3 / 48 / EI + load * span / 4 / kGA, rel=1e-12
    )


@pytest.mark.source("exact: overhanging beam, P a² (a + b)/(3 EI)")
def test_overhang_of_a_uniform_bar():
    x = np.linspace(0.0, 1.1, 111)
    a, b = 0.78, 0.14
    drop = overhang_deflection(x, 0 * x + 45.0, len(x), 0.1, 0.1 + a, 0.1 + a + b, 26.5)
    assert drop == pytest.approx(26.5 * a**2 * (a + b) / (3 * 45.0), rel=1e-9)


@pytest.mark.source(
    "computed: 4.0 deg over 1.000 m is GJ of 19.42 N·m², over 0.785 m 15.25"
)
@pytest.mark.parametrize(("length", "GJ"), [(1.0, 19.42), (0.785, 15.25)])
def test_twist(length, GJ):
    x = np.linspace(0.0, length, 11)
    angle = twist(x, 0 * x + GJ, 0, 10, 1.35582)
    # the stiffness is rounded to four digits
    assert math.degrees(angle) == pytest.approx(4.0, rel=0.005 / GJ)
