"""Large deflection against elliptic integrals, tables and a boundary-value solver."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_bvp
from scipy.optimize import brentq
from scipy.special import ellipe, ellipeinc, ellipk, ellipkinc

from model.elastica import cantilever_drop, overhang_drop


def elliptic(load):
    """Drop over length of a uniform cantilever under a load of so many EI/L².

    With phi the slope at the load, k² = (1 + sin phi)/2 and k sin t = 1/sqrt 2:
    sqrt(load) = K(k) - F(t, k), drop/L = 1 - 2 (E(k) - E(t, k))/sqrt(load).
    """

    def at(phi):
        m = (1.0 + math.sin(phi)) / 2.0
        t = math.asin(1.0 / math.sqrt(2.0 * m))
        arc = ellipk(m) - ellipkinc(t, m)
        return arc, 1.0 - 2.0 * (ellipe(m) - ellipeinc(t, m)) / arc

    phi = brentq(lambda p: at(p)[0] - math.sqrt(load), 1e-6, 1.5707, xtol=1e-14)
    return at(phi)[1]


def uniform(load, n=41, **where):
    x = np.linspace(0.0, 1.0, n)
    where = {"clamp": 1.0, "load_at": 0.0, **where}
    return cantilever_drop(x, 0.0 * x + 1.0, load=load, **where)


@pytest.mark.source(
    "K. E. Bisshopp and D. C. Drucker, Large deflection of cantilever beams, Quarterly "
    "of Applied Mathematics 3, 1945; K. Mattiasson, Numerical results from large "
    "deflection beam and frame problems analysed by means of elliptic integrals, "
    "Int. J. Numer. Meth. Eng. 17, 1981 (values from memory); elliptic integrals: exact"
)
@pytest.mark.parametrize(
    ("load", "drop"), [(1.0, 0.30172), (2.0, 0.49346), (5.0, 0.71379), (10.0, 0.81061)]
)
def test_uniform_cantilever(load, drop):
    assert elliptic(load) == pytest.approx(drop, abs=5.1e-6)
    assert uniform(load).drop == pytest.approx(drop, abs=5.1e-6)


@pytest.mark.source("exact: elliptic integrals of the uniform cantilever")
@pytest.mark.parametrize("load", [0.05, 0.4, 1.7, 6.0, 40.0])
def test_elliptic_integrals(load):
    assert uniform(load).drop == pytest.approx(elliptic(load), rel=1e-6)
    assert uniform(load).linear == pytest.approx(load / 3.0, rel=1e-3)


@pytest.mark.source("exact: elliptic integrals of the uniform cantilever")
@pytest.mark.parametrize(("share", "low", "high"), [(0.1, 0.8, 1.2), (0.2, 3.7, 4.5)])
def test_how_much_less_it_drops(share, low, high):
    """A drop of a tenth of the length is 1 % below linear, of a fifth 4 %."""
    load = brentq(lambda p: elliptic(p) - share, 1e-3, 2.0)
    bent = uniform(load)
    assert bent.drop == pytest.approx(share, rel=1e-6)
    assert low < 100.0 * (1.0 - bent.ratio) < high


def taper(s):
    """An invented shaft seen from its load: stiffness along the arc, in N·m²."""
    return 25.0 + 45.0 * s


def by_boundary_values(reach, span, load):
    """The same bar by collocation: two stretches, the contact an unknown.

    Unknowns beside the two shapes are the arc to the contact, the upright part of
    the push there, and the place and slope of the bar at the contact.
    """
    length = reach + span

    def rates(t, u, p):
        contact, push, x_s, y_s, angle = p
        x1, _, a1, x2, y2, a2 = u
        first = -load * x1 / taper(t * contact)
        moment = load * x2 - push * (x2 - x_s + math.tan(angle) * (y2 - y_s))
        rest = length - contact
        second = -moment / taper(contact + t * rest)
        return np.vstack(
            [
                contact * np.cos(a1),
                contact * np.sin(a1),
                contact * first,
                rest * np.cos(a2),
                rest * np.sin(a2),
                rest * second,
            ]
        )

    def ends(a, b, p):
        _, push, x_s, y_s, angle = p
        return np.array(
            [
                a[0],
                a[1],
                b[0] - x_s,
                b[1] - y_s,
                b[2] - angle,
                a[3] - x_s,
                a[4] - y_s,
                a[5] - angle,
                b[3] - x_s - span,
                b[4] - y_s,
                load * (x_s + span) - push * span,
            ]
        )

    t = np.linspace(0.0, 1.0, 41)
    bar = np.vstack([reach * t, 0.1 * t, 0.2 - 0.1 * t, reach + span * t, 0 * t, 0 * t])
    guess = [reach, load * length / span, reach, 0.1, 0.05]
    found = solve_bvp(rates, ends, t, bar, guess, tol=1e-9, max_nodes=20_000)
    assert found.success
    return found.y[1, -1]


@pytest.mark.source("derived here: the same bar by scipy's collocation solver")
@pytest.mark.parametrize("load", [5.0, 26.5, 60.0, 120.0])
def test_overhang(load):
    reach, span = 0.82, 0.14
    x = np.linspace(0.0, 1.0, 41)
    bent = overhang_drop(
        x,
        taper(x - 0.02),
        load_at=0.02,
        support=0.02 + reach,
        hold=0.02 + reach + span,
        load=load,
    )
    assert bent.drop == pytest.approx(by_boundary_values(reach, span, load), rel=1e-6)


@pytest.mark.source("exact: P a² (a + b)/(3 EI), a bar that overhangs its supports")
def test_overhang_under_a_small_load():
    x = np.linspace(0.0, 1.1, 45)
    bent = overhang_drop(
        x, 0.0 * x + 40.0, load_at=0.1, support=0.9, hold=1.05, load=0.01
    )
    exact = 0.01 * 0.8**2 * 0.95 / (3.0 * 40.0)
    assert bent.drop == pytest.approx(exact, rel=2e-4)
    assert bent.linear == pytest.approx(exact, rel=2e-4)
    assert bent.ratio == pytest.approx(1.0, abs=1e-5)
