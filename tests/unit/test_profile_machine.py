"""The EI profile machine: bars by hand, sites, and flattening against shell theory."""

import math

import numpy as np
import pytest
from scipy.integrate import quad

from model import Machine, ModelRangeError
from model.profile_machine import at_station, flattening_compliance, read_profile

NO_SHEAR = 1e20


def bar(EI, kGA=NO_SHEAR, n=41):
    x = np.linspace(0.0, 1.0, n)
    return x, 0.0 * x + EI, 0.0 * x + kGA


def test_a_uniform_bar_reads_its_own_stiffness():
    """Exact: y = F L³/(48 EI)."""
    for reading in read_profile(*bar(40.0), Machine()):
        assert reading.reading == pytest.approx(40.0, rel=1e-9)
        assert pytest.approx(40.0) == reading.EI
        assert reading.mean_EI == pytest.approx(40.0)
        assert reading.deflection == pytest.approx(20 * 9.80665 * 0.2**3 / 48 / 40)
        assert reading.shear_share == pytest.approx(0.0, abs=1e-12)
        assert reading.flattening_share == 0.0


@pytest.mark.parametrize("span", [0.15, 0.2, 0.3])
def test_shear_lowers_a_reading(span):
    """Exact: y = F L³/(48 EI) + F L/(4 kGA), so the share is s/(1 + s)."""
    EI, kGA = 40.0, 2e5
    part = 12.0 * EI / (kGA * span**2)
    for reading in read_profile(*bar(EI, kGA), Machine(span=span)):
        assert reading.shear_share == pytest.approx(part / (1.0 + part), rel=1e-9)
        assert reading.reading == pytest.approx(EI / (1.0 + part), rel=1e-9)


@pytest.mark.parametrize("off", [0.0, 0.02, 0.06, 0.1])
def test_a_stepped_bar(off):
    """A step from a to b at a distance from mid-span (derived here).

    With unit moment x/2 from each support, 48 y/F = 12 times the integral of x²/EI
    over both halves: at most half the span lies on the side of the step.
    """
    a, b, span, site = 25.0, 50.0, 0.2, 0.5
    x = np.array([0.0, site - off, site - off, 1.0])
    EI = np.array([a, a, b, b])
    (reading,) = read_profile(
        x, EI, 0 * x + NO_SHEAR, Machine(span=span), stations=(site,)
    )
    half, arm = span / 2.0, span / 2.0 - off
    compliance = (arm**3 / a + (half**3 - arm**3) / b + half**3 / b) / (2.0 * half**3)
    assert reading.reading == pytest.approx(1.0 / compliance, rel=1e-9)
    assert reading.mean_EI == pytest.approx((arm * a + (span - arm) * b) / span)
    there = b if off else (a + b) / 2.0
    assert pytest.approx(there) == reading.EI


def test_a_tapered_bar_on_coarse_stations():
    """By quadrature, for a taper that two stations tell all of (derived here)."""
    x = np.array([0.0, 1.0])
    EI = 20.0 + 60.0 * x
    (found,) = read_profile(x, EI, 0 * x + NO_SHEAR, Machine(), stations=(0.437,))

    def part(s):
        return (0.1 - abs(s - 0.437)) ** 2 / (20.0 + 60.0 * s)

    exact = quad(part, 0.337, 0.437)[0] + quad(part, 0.437, 0.537)[0]
    assert found.reading == pytest.approx(0.2**3 / (12.0 * exact), rel=1e-5)


@pytest.mark.parametrize(
    ("machine", "length", "first", "last", "n"),
    [
        (Machine(), 1.13, 0.130, 1.030, 10),  # the patent's sites, common practice
        (Machine(), 1.129, 0.130, 0.930, 9),
        (Machine(), 1.067, 0.130, 0.930, 9),
        (Machine(span=0.3), 1.067, 0.230, 0.830, 7),
        (Machine(first=0.1, step=0.05), 0.5, 0.100, 0.400, 7),
    ],
)
def test_sites(machine, length, first, last, n):
    sites = machine.sites(length)
    assert (sites[0], sites[-1], len(sites)) == (first, last, n)
    x = np.array([0.0, length])
    read = read_profile(x, 0 * x + 40.0, 0 * x + 1e5, machine)
    assert tuple(reading.station for reading in read) == sites


@pytest.mark.parametrize("length", [0.05, 0.15, 0.229])
def test_a_short_shaft_has_no_site(length):
    assert Machine().sites(length) == ()


def test_a_support_off_the_bar():
    with pytest.raises(ModelRangeError, match="off the bar"):
        read_profile(*bar(40.0), Machine(), stations=(0.05,))
    with pytest.raises(ModelRangeError, match="off the bar"):
        at_station(*bar(40.0)[:2], 1.2)


# ----------------------------------------------------------------------- flattening


def test_the_modes_of_a_ring_give_its_crushing():
    """Two loads: 0.148778 P R³/(D b) (Roark, circular rings; from memory)."""
    n = np.arange(2.0, 2001.0)
    crushed = 4.0 / math.pi * np.sum(1.0 / (n[::2] ** 2 - 1.0) ** 2)
    assert crushed == pytest.approx(0.148778, abs=1e-6)
    assert crushed == pytest.approx(math.pi / 4.0 - 2.0 / math.pi, abs=1e-9)


def tube(ratio):
    """EI and D22 of a tube of unit mean radius, modulus 1, Poisson's ratio 0."""
    t = 1.0 / ratio
    return math.pi * t, t**3 / 12.0


def by_shell(ratio):
    """Way of a point load into a long tube, modes from 2 on, by Morley's equation.

    D (del² + 1)² del⁴ w + E t w'''' = del⁴ p, lengths in radii: L. S. D. Morley, An
    improvement on Donnell's approximation for thin-walled circular cylinders, Q. J.
    Mech. Appl. Math. 12, 1959 (from memory).
    """
    t = 1.0 / ratio
    D = t**3 / 12.0
    total = 0.0
    for n in range(2, int(40 * ratio**0.5) + 40):

        def part(k, n=n):
            q = k * k + n * n
            return q * q / (D * q * q * (q - 1.0) ** 2 + t * k**4)

        total += quad(part, 0.0, np.inf, limit=200)[0] / math.pi**2
    return total


@pytest.mark.parametrize(
    ("ratio", "least", "most"),
    [(5, 1.20, 1.26), (8, 1.12, 1.17), (15, 1.05, 1.09), (50, 1.01, 1.03)],
)
def test_flattening_is_somewhat_above_shell_theory(ratio, least, most):
    EI, D22 = tube(ratio)
    assert least < flattening_compliance(EI, D22, 1.0) / by_shell(ratio) < most


def test_flattening_has_the_dimensions_of_a_compliance():
    """Scaled in length by s and in modulus by e, it goes with 1/(s e)."""
    EI, D22 = tube(8)
    one = flattening_compliance(EI, D22, 1.0)
    s, e = 7e-3, 6e10
    scaled = flattening_compliance(e * s**4 * EI, e * s**3 * D22, s)
    assert scaled == pytest.approx(one / (s * e), rel=1e-12)


def test_a_reading_with_flattening():
    """The load presses in by y, each support by half as much, for mid-span the mean."""
    x, EI, kGA = bar(60.0, 4e5)
    D22, radius = 0 * x + 1.2, 0 * x + 7.3e-3
    plain = read_profile(x, EI, kGA, Machine())[3]
    flat = read_profile(x, EI, kGA, Machine(), D22=D22, radius=radius)[3]
    pressed = 1.5 * 20 * 9.80665 * flattening_compliance(60.0, 1.2, 7.3e-3)
    assert flat.deflection - plain.deflection == pytest.approx(pressed, rel=1e-9)
    assert flat.flattening_share == pytest.approx(pressed / flat.deflection)
    assert flat.reading < plain.reading < flat.EI
