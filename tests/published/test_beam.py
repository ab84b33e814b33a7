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


@pytest.mark.source("computed: 4.0 deg over 1.000 m is GJ of 19.42 N·m²")
def test_twist():
    x = np.linspace(0.0, 1.0, 11)
    angle = twist(x, 0 * x + 19.42, 0, 10, 1.35582)
    assert math.degrees(angle) == pytest.approx(4.0, abs=5e-4)
