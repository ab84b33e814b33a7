"""Whole shafts and tubes simple enough for a closed form or a finite-element check."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.sparse.linalg import eigsh

from model import Bench, Design, Flag, Mandrel, Shaft, evaluate
from model.beam import first_frequency, overhang_deflection
from model.laminate import ring_stiffness, tube_section

LENGTH = 1.000
SLIM, WIDE, REACH, SET = 0.006, 0.0156, 1.2, 0.100


@pytest.fixture(scope="module")
def cone(library):
    """The library with a mandrel that has no breakpoints on the shaft."""
    mandrel = Mandrel(name="cone", distance=(0.0, REACH), diameter=(SLIM, WIDE))
    return replace(library, mandrels={"cone": mandrel})


@pytest.fixture(scope="module")
def sleeve():
    """One straight flag over the whole length."""
    flag = Flag(
        name="straight",
        material="standard-125",
        angle=0.0,
        is_pair=False,
        start=0.0,
        end=LENGTH,
        wraps=10.0,
    )
    shaft = Shaft(length=LENGTH, mandrel="cone", mandrel_set=SET)
    return Design(name="sleeve", shaft=shaft, flags=(flag,))


def radii(sleeve, library, x):
    """Inner and outer radius of the sleeve."""
    inner = (SLIM + (WIDE - SLIM) * (x + SET) / REACH) / 2
    ply = library.prepregs["standard-125"].cured()
    return inner, inner + sleeve.flags[0].wraps * ply.thickness


@pytest.mark.source("exact: mass and first moment of a hollow cone of constant wall")
def test_weight_and_balance_point_of_a_cone(sleeve, cone):
    metrics = evaluate(sleeve, cone).metrics
    density = cone.prepregs["standard-125"].cured().density
    middle = sum(radii(sleeve, cone, LENGTH / 2))
    inner, outer = radii(sleeve, cone, 0.0)
    slope = (WIDE - SLIM) / REACH  # of the sum of both radii
    weight = density * math.pi * (outer - inner) * middle * LENGTH
    from_tip = LENGTH / 2 + slope * LENGTH**2 / 12 / middle
    assert metrics["weight"] == pytest.approx(weight, rel=1e-12)
    balance_point = LENGTH - from_tip
    assert metrics["balance_point"] == pytest.approx(balance_point, rel=1e-12)


@pytest.mark.source("exact: area of a spiral, the turns' mean circumference times them")
def test_prepreg_of_a_cone(sleeve, cone):
    report = evaluate(sleeve, cone)
    area = 10 * math.pi * sum(radii(sleeve, cone, LENGTH / 2)) * LENGTH
    assert report.flags[0].area_net == pytest.approx(area, rel=1e-12)
    # nothing is cut off, so what is cut is what is in the shaft
    weight = report.metrics["weight"]
    assert report.flags[0].mass_cut == pytest.approx(weight, rel=1e-12)


@pytest.mark.source("exact: strain of a straight fibre is M r / EI")
def test_margins_of_a_straight_sleeve(sleeve, cone):
    report = evaluate(sleeve, cone)
    prepreg = cone.prepregs["standard-125"]
    allowable = min(prepreg.strain_tension, prepreg.strain_compression)
    points = {point.name: point for point in report.strength}
    for name, station in (("T", 0.090), ("A", 0.175), ("B", 0.525), ("C", 0.825)):
        assert points[name].station == pytest.approx(station, abs=1e-9)
        _, outer = radii(sleeve, cone, station)
        EI = np.interp(station, report.profile.station, report.profile.EI)
        margin = allowable / (30.0 * outer / EI) - 1
        assert points[name].margin == pytest.approx(margin, rel=1e-9)
        assert points[name].mode == "fibre compression"
    # no moment, so no strain, outside the outermost supports of T and C
    station, margins = report.profile.station, report.profile.margin
    outside = (station <= 0.015 + 1e-9) | (station >= 0.975 - 1e-9)
    np.testing.assert_array_equal(np.isinf(margins), outside)


@pytest.mark.source("abstract of US 10,213,668 B2: 100 F2 / (F1 + F2)")
def test_flex_point_ratio(sleeve, cone):
    bench = replace(Bench(), butt_load_at=0.939)  # 1.039 m lies beyond the sleeve
    metrics = evaluate(replace(sleeve, bench=bench), cone).metrics
    forward, reverse = metrics["butt_deflection"], metrics["tip_deflection"]
    ratio = reverse / (forward + reverse)
    assert metrics["flex_point_ratio"] == pytest.approx(ratio, rel=1e-12)
    assert evaluate(sleeve, cone).metrics["flex_point_ratio"] is None


@pytest.mark.source("exact: shear flow of a thin tube is a sine, so half shears")
def test_shear_stiffness_of_a_tube():
    E, nu, inner, outer = 70e9, 0.3, 6.5e-3, 7.5e-3
    G = E / 2 / (1 + nu)
    q = ring_stiffness(E, E, G, nu, 0.0)
    section = tube_section([q], [[inner]], [[outer]])
    area = math.pi * (outer**2 - inner**2)
    assert section.kGA[0] == pytest.approx(G * area / 2, rel=1e-12)


def finite_elements(nodes, EI, m, head):
    """First circular frequency by Hermite line elements, clamped at the last node."""
    skfem = pytest.importorskip("skfem")
    from skfem.helpers import dd, ddot

    basis = skfem.Basis(skfem.MeshLine(nodes), skfem.ElementLineHermite(), intorder=8)

    @skfem.BilinearForm
    def stiffness(u, v, w):
        return EI(w.x[0]) * ddot(dd(u), dd(v))

    @skfem.BilinearForm
    def mass(u, v, w):
        return m(w.x[0]) * u * v

    K, M = stiffness.assemble(basis), mass.assemble(basis).tolil()
    weight, offset, inertia = head
    tip = basis.get_dofs(lambda x: np.isclose(x[0], nodes[0]))
    u, u_x = int(tip.all("u")[0]), int(tip.all("u_x")[0])
    # the head's centre is beyond the tip: it moves by u - offset u'
    M[u, u] += weight
    M[u, u_x] -= weight * offset
    M[u_x, u] -= weight * offset
    M[u_x, u_x] += weight * offset**2 + inertia
    clamped = basis.get_dofs(lambda x: np.isclose(x[0], nodes[-1])).all()
    inner = np.setdiff1d(np.arange(K.shape[0]), clamped)
    Ki, Mi = K[inner][:, inner].tocsc(), M.tocsr()[inner][:, inner].tocsc()
    return math.sqrt(eigsh(Ki, k=1, M=Mi, sigma=0.0, return_eigenvectors=False)[0])


@pytest.mark.source("scikit-fem, Hermite line elements, the head on the end's freedoms")
@pytest.mark.parametrize(
    "head",
    [(0.205, 0.0, 0.0), (0.205, 0.035, 2e-4), (0.205, -0.020, 0.0), (0.05, 0, 5e-3)],
)
def test_stepped_shaft_with_a_head_by_finite_elements(head):
    """A jump of the wall at 0.3 m, and a head whose centre is off the tip."""

    def EI(x):
        return np.where(x < 0.3, 20.0 + 10.0 * x, 45.0 + 20.0 * x)

    def m(x):
        return np.where(x < 0.3, 0.070, 0.045)

    theirs = finite_elements(np.linspace(0.0, 0.9, 91), EI, m, head)
    x = np.concatenate([np.linspace(0.0, 0.3, 301), np.linspace(0.3, 0.9, 601)])
    look = x + np.repeat([-1e-12, 1e-12], [301, 601])
    mass, offset, inertia = head
    ours = (
        2
        * math.pi
        * first_frequency(
            x,
            EI(look),
            m(look),
            tip_mass=mass,
            tip_mass_offset=offset,
            tip_mass_inertia=inertia,
        )
    )
    assert ours == pytest.approx(theirs, rel=2e-6)


@pytest.mark.source("exact: unit-load theorem by adaptive quadrature (scipy)")
@pytest.mark.parametrize("stations", [(0.1, 0.88, 1.02), (0.95, 0.16, 0.02)])
def test_overhang_of_a_tapered_bar(stations):
    load_at, support, hold = stations

    def EI(x):
        return 20.0 + 45.0 * x

    def moment(x):
        if (x - support) * (load_at - support) > 0:
            return abs(x - load_at)
        return abs(support - load_at) * (hold - x) / (hold - support)

    def bend(x):
        return moment(x) ** 2 / EI(x)

    ends = sorted((load_at, hold))
    exact = 26.5 * quad(bend, *ends, points=[support], epsabs=1e-13)[0]

    def ours(cells):
        marks = [0.0, *sorted(stations), 1.1]
        x = np.unique([np.linspace(a, b, cells + 1) for a, b in pairwise(marks)])
        return overhang_deflection(x, EI(x), len(x), *stations, 26.5)

    assert ours(800) == pytest.approx(exact, rel=1e-6)
    errors = [abs(ours(cells) - exact) for cells in (4, 8, 16)]
    for coarse, fine in pairwise(errors):
        assert math.log2(coarse / fine) == pytest.approx(2.0, abs=0.1)
