"""Directions of bending against textbook sections and two-plane vibration."""

import math

import numpy as np
import pytest
from scipy.linalg import eigh
from scipy.optimize import brentq

from model.beam import first_frequency
from model.planes import plane_modes
from tests.reference.round_walls import flag, rolled, shown

RADIUS, PLY, E = 5e-3, 1e-9, 70e9


def lone_arc(part, clock=0.0):
    """A thin ply on an arc, nothing else: largest and smallest EI, and direction."""
    found = shown(rolled([flag(part, clock, ply=PLY)], bore=RADIUS))
    size = abs(found.second[0])
    direction = np.angle(found.second[0]) / 2.0 % np.pi
    return found.mean[0] + size, found.mean[0] - size, direction


@pytest.mark.source(
    "Roark's Formulas for Stress and Strain, properties of plane areas, sector of a "
    "thin annulus: I about the axis of symmetry and across it, from memory, re-derived"
)
@pytest.mark.parametrize("part", [0.05, 0.2, 0.35, 0.5, 0.6, 0.8, 0.95])
def test_sector_of_a_thin_annulus(part):
    alpha = np.pi * part  # half the angle of the arc
    scale = E * RADIUS**3 * PLY
    s, c = math.sin(alpha), math.cos(alpha)
    about = alpha - s * c
    across = alpha + s * c - 2.0 * s * s / alpha
    largest, smallest, _ = lone_arc(part)
    expected = sorted([scale * about, scale * across])
    assert smallest == pytest.approx(expected[0], abs=2e-3 * expected[1])
    assert largest == pytest.approx(expected[1], rel=2e-3)


@pytest.mark.source(
    "textbook: half a thin ring has pi/2 R^3 t about any axis through its centre and "
    "pi/2 - 4/pi across, about its own centroid at 2 R / pi"
)
def test_half_a_ring_differs_by_its_neutral_axis_only():
    largest, smallest, direction = lone_arc(0.5, clock=0.3)
    scale = E * RADIUS**3 * PLY
    assert largest == pytest.approx(scale * np.pi / 2, rel=1e-3)
    assert smallest == pytest.approx(scale * (np.pi / 2 - 4 / np.pi), rel=2e-3)
    # stiffest along the diameter that closes the half ring
    assert direction == pytest.approx(0.3, abs=1e-3)


@pytest.mark.source(
    "textbook: a quarter of a thin ring in the middle of a half one adds "
    "E R^3 t / 2 (alpha + sin alpha cos alpha cos 2 phi) in direction phi, exact"
)
def test_direction_of_a_quarter_arc():
    thick = shown(rolled([flag(10), flag(1.25, 0.4)]))
    direction = np.angle(thick.second[0]) / 2.0 % np.pi
    assert direction == pytest.approx(0.4 + np.pi / 4, abs=1e-9)


def cantilever(EI, m, length, mass):
    """First frequency of a uniform cantilever with a mass on its tip, in Hz."""

    def equation(s):
        c, ch, sn, sh = math.cos(s), math.cosh(s), math.sin(s), math.sinh(s)
        return 1 + c * ch + mass / (m * length) * s * (c * sh - sn * ch)

    root = brentq(equation, 0.05, 1.8751041)
    return root**2 * math.sqrt(EI / (m * length**4)) / (2.0 * math.pi)


@pytest.mark.source("exact: frequency equation of a cantilever with a tip mass")
@pytest.mark.parametrize("size", [0.0, 0.3, 4.0, 20.0])
@pytest.mark.parametrize("angle", [0.0, 0.4, 1.2, 2.9])
def test_a_uniform_bar_swings_as_two_bars(size, angle):
    x = np.linspace(0.0, 0.94, 301)
    one = np.ones(301)
    second = size * np.exp(2j * angle) * one
    low, high, direction = plane_modes(x, 40.0 * one, second, 0.05 * one, tip_mass=0.2)
    assert low == pytest.approx(cantilever(40.0 - size, 0.05, 0.94, 0.2), rel=1e-5)
    assert high == pytest.approx(cantilever(40.0 + size, 0.05, 0.94, 0.2), rel=1e-5)
    assert direction == pytest.approx(angle if size else 0.0, abs=1e-6)


@pytest.mark.source("Rayleigh's quotient: 2 d(omega) / omega = d(EI) / EI, first order")
def test_the_split_is_half_of_a_small_spread():
    x = np.linspace(0.0, 1.0, 101)
    EI = 30.0 + 30.0 * x
    for spread in (0.002, 0.02):
        second = 0.5 * spread * EI * np.exp(1j)
        low, high, _ = plane_modes(x, EI, second, 0.05 + 0 * x, tip_mass=0.2)
        split = 2.0 * (high - low) / (high + low)
        assert split == pytest.approx(spread / 2.0, rel=1e-4)


HEAD = {"tip_mass": 0.2, "tip_mass_offset": 0.03, "tip_mass_inertia": 3e-4}


@pytest.mark.source(
    "the first mode in one plane, held to frequency equations elsewhere"
)
def test_no_spread_is_one_plane():
    rng = np.random.default_rng(1)
    x = np.sort(np.concatenate([[0.0, 0.9, 0.4, 0.4], 0.9 * rng.random(30)]))
    EI, m = 20.0 + 40.0 * rng.random(34), 0.03 + 0.05 * rng.random(34)
    one = first_frequency(x, EI, m, **HEAD, clamp_compliance=1e-4)
    low, high, direction = plane_modes(x, EI, 0j * EI, m, **HEAD, clamp_compliance=1e-4)
    assert low == pytest.approx(one, rel=1e-11)
    assert high == pytest.approx(one, rel=1e-11)
    assert direction == 0.0


def finite_elements(length, EI, second, m, head, n=30):
    """Two lowest frequencies and the direction of the second, by Hermite elements."""
    nodes = np.linspace(0.0, length, n + 1)
    size = 4 * (n + 1)  # deflection and slope of both components at each node
    K, M = np.zeros((2, size, size))
    points, weights = np.polynomial.legendre.leggauss(5)
    for e in range(n):
        h = nodes[e + 1] - nodes[e]
        dofs = np.arange(4 * e, 4 * e + 8)
        for s, weight in zip((points + 1) / 2, weights / 2, strict=True):
            x = nodes[e] + s * h
            shape = np.array(
                [
                    1 - 3 * s**2 + 2 * s**3,
                    h * (s - 2 * s**2 + s**3),
                    3 * s**2 - 2 * s**3,
                    h * (s**3 - s**2),
                ]
            )
            bend = np.array([-6 + 12 * s, h * (6 * s - 4), 6 - 12 * s, h * (6 * s - 2)])
            bend = bend / h**2
            H = second(x)
            tensor = np.array([[EI(x) + H.real, H.imag], [H.imag, EI(x) - H.real]])
            # order of an element's unknowns: node, then value and slope, component
            for a in range(4):
                for b in range(4):
                    rows, columns = dofs[2 * a : 2 * a + 2], dofs[2 * b : 2 * b + 2]
                    block = np.ix_(rows, columns)
                    K[block] += weight * h * bend[a] * bend[b] * tensor
                    M[block] += weight * h * m(x) * shape[a] * shape[b] * np.eye(2)
    mass, offset, inertia = head
    for c in range(2):
        arm = np.zeros(size)
        arm[c], arm[2 + c] = 1.0, -offset  # the head's centre lies at -offset
        M += mass * np.outer(arm, arm)
        M[2 + c, 2 + c] += inertia
    free = np.arange(size - 4)
    squares, modes = eigh(
        K[np.ix_(free, free)], M[np.ix_(free, free)], subset_by_index=[0, 1]
    )
    direction = np.arctan2(modes[1, 1], modes[0, 1]) % np.pi
    return np.sqrt(squares) / (2.0 * np.pi), direction


@pytest.mark.source(
    "Hermite beam elements in two planes (common practice), written here"
)
@pytest.mark.parametrize("turns", [0.0, 0.7, 3.0])
@pytest.mark.parametrize("size", [0.02, 0.2])
def test_a_twisted_tapered_bar_by_finite_elements(turns, size):
    def EI(x):
        return 25.0 + 45.0 * x

    def second(x):
        return size * EI(x) * (1.0 - 0.5 * x) * np.exp(2j * (0.4 + turns * x))

    def m(x):
        return 0.045 + 0.02 * x

    x = np.linspace(0.0, 0.94, 401)
    low, high, direction = plane_modes(x, EI(x), second(x), m(x), **HEAD)
    (low_fe, high_fe), direction_fe = finite_elements(
        0.94, EI, second, m, tuple(HEAD.values())
    )
    assert low == pytest.approx(low_fe, rel=1e-5)
    assert high == pytest.approx(high_fe, rel=1e-5)
    assert direction == pytest.approx(direction_fe, abs=1e-3)
