"""Ply strains, the strength points and the bench's loads against their sources."""

import math

import numpy as np
import pytest

from model import Bench, read_quantity
from model.failure import MODES, ply_limits, ply_strains, ply_uses
from model.laminate import plane_stiffness, rotated_stiffness
from model.strength import torsion_test
from tests.tubes import Layer, Tube, kaw_ply

E1, E2, G12, NU12 = 181e9, 10.3e9, 7.17e9, 0.28
STRENGTH = {"Xt": 1500e6, "Xc": 1500e6, "Yt": 40e6, "Yc": 246e6, "S": 68e6}


@pytest.mark.source(
    "A. K. Kaw, Mechanics of Composite Materials, 2nd ed., 2006, chapter 2, lamina at "
    "60 degrees under 2S, -3S, 4S, maximum strain: S = 16.33 MPa, from memory and "
    "recomputed"
)
def test_maximum_strain_of_a_ply_at_60_degrees():
    angle = math.radians(60)
    q11, q12, q22, q66, q16, q26 = rotated_stiffness(
        plane_stiffness(E1, E2, G12, NU12), angle
    )
    stiffness = np.array([[q11, q12, q16], [q12, q22, q26], [q16, q26, q66]])
    strain = np.linalg.solve(stiffness, [2.0, -3.0, 4.0])
    c, s = math.cos(angle), math.sin(angle)
    along, across, sheared = ply_strains(c * c, s * s, c * s, *strain)
    # strengths over moduli are the allowable strains
    along_allowed = STRENGTH["Xt" if along > 0 else "Xc"] / E1
    across_allowed = STRENGTH["Yt" if across > 0 else "Yc"] / E2
    factors = (
        along_allowed / abs(along),
        across_allowed / abs(across),
        STRENGTH["S"] / G12 / abs(sheared),
    )
    assert min(factors) / 1e6 == pytest.approx(16.33, abs=0.005)


@pytest.mark.source(
    "A. K. Kaw, Mechanics of Composite Materials, 2nd ed., 2006, chapter 2, lamina at "
    "60 degrees under 2S, -3S, 4S: maximum strain 16.33 MPa; Tsai-Wu with H12 = "
    "-1/2 √(H11 H22) 22.39 MPa; from memory and recomputed"
)
def test_criteria_of_a_ply_at_60_degrees():
    angle = math.radians(60)
    q11, q12, q22, q66, q16, q26 = rotated_stiffness(
        plane_stiffness(E1, E2, G12, NU12), angle
    )
    stiffness = np.array([[q11, q12, q16], [q12, q22, q26], [q16, q26, q66]])
    strain = np.linalg.solve(stiffness, [2e6, -3e6, 4e6])
    c, s = math.cos(angle), math.sin(angle)
    local = ply_strains(c * c, s * s, c * s, *strain)
    found = ply_uses(ply_limits(kaw_ply()), *local, 0.0, 0.0, 0.0)
    assert 1.0 / max(found[0], found[2]) == pytest.approx(16.33, abs=0.005)
    assert MODES[found[3]] == "shear"
    assert 1.0 / found[4] == pytest.approx(22.39, abs=0.005)


@pytest.mark.source(
    "by hand: T = 2π r² t G γ, G of a balanced ±45 laminate of the textbook ply 46.591 "
    "GPa (computed), fibre strain γ/2, fibre strain at failure 1500 MPa/181 GPa"
)
def test_a_thin_bias_tube_breaks_by_its_fibres():
    r, t = 0.1, 1e-4
    tube = Tube(r - t / 2, (Layer(kaw_ply(), 45, t, is_pair=True),))
    torque = 2 * math.pi * r**2 * t * 46.591e9 * 2 * 1500 / 181e3
    # strained at its outside, half a thickness beyond the middle
    assert tube.breaking_torque() == pytest.approx(torque, rel=6e-4)
    assert tube.breaking_torque() < torque


@pytest.mark.source(
    "by hand: T = 2π r² t S of a thin tube in shear, S = 68 MPa of the textbook ply"
)
@pytest.mark.parametrize("degrees", [0, 90])
def test_a_thin_tube_without_bias_breaks_by_its_matrix(degrees):
    r, t = 0.1, 1e-4
    tube = Tube(r - t / 2, (Layer(kaw_ply(), degrees, t),))
    torque = 2 * math.pi * r**2 * t * 68e6
    assert tube.breaking_torque() == pytest.approx(torque, rel=6e-4)


@pytest.mark.source(
    "by hand: a thin tube with a single angle, free to stretch and to turn its hoop, "
    "has shear stress only; fibre and matrix stresses by the rotation of pure shear, "
    "σ1 = 2 sin cos τ at 30 degrees, and strain by the ply's compliance"
)
def test_a_thin_tube_of_one_angle_in_torsion():
    r, t = 1.0, 1e-4
    tube = Tube(r - t / 2, (Layer(kaw_ply(), 30, t),))
    tau = 1.0 / (2 * math.pi * r**2 * t)
    c, s = math.cos(math.radians(30)), math.sin(math.radians(30))
    along = 2 * c * s * tau * (1 + NU12) / E1
    use = tube.fibre_use(tube.torsion)
    assert use == pytest.approx(along / (1500 / 181e3), rel=1e-3)


@pytest.mark.source(
    "torsion test of golf shafts, approval standard and standard confirmation method, "
    "Product Safety Association, Japan, 1993, from memory: both ends gripped 50 mm, "
    "breaking torque times twist; uniform shaft by hand: T² l/GJ"
)
def test_product_of_breaking_torque_and_twist():
    assert Bench().torsion_grip == pytest.approx(read_quantity("50 mm", "length"))
    x = np.linspace(0.05, 1.118, 40)
    torque, product = torsion_test(x, 0 * x + 20.0, 0 * x + 1 / 25.0, 40, x[0], x[39])
    assert torque == pytest.approx(25.0)
    assert math.degrees(product) == pytest.approx(math.degrees(625 * 1.068 / 20.0))


@pytest.mark.source(
    "I. M. Daniel and O. Ishai, Engineering Mechanics of Composite Materials, ply of a "
    "problem: 57 and 228 MPa across the fibres, tension and compression"
)
def test_ratio_of_transverse_strengths(library):
    prepreg = library.prepregs["standard-125"]
    ply = prepreg.cured()
    ratio = ply.strain_transverse_compression / ply.strain_transverse
    assert ratio == pytest.approx(228 / 57)


@pytest.mark.source("exact: invariants of plane strain under a rotation of axes")
@pytest.mark.parametrize("degrees", [-60, -30, 17, 45, 90])
def test_rotation_keeps_the_invariants_of_strain(degrees):
    a = math.radians(degrees)
    c, s = math.cos(a), math.sin(a)
    x, y, g = 3e-3, -1.2e-3, 0.7e-3
    along, across, sheared = ply_strains(c * c, s * s, c * s, x, y, g)
    assert along + across == pytest.approx(x + y, rel=1e-12)
    assert along * across - sheared**2 / 4 == pytest.approx(x * y - g**2 / 4, rel=1e-12)
    # the strain along a line at the angle, from the stretch of a short piece of it
    assert along == pytest.approx(c * (c * x + s * g / 2) + s * (c * g / 2 + s * y))


@pytest.mark.source(
    "US 9,387,378 B2, 2016, abstract: load points and least loads of the three-point "
    "strength of golf shafts; spans from memory: approval standard and standard "
    "confirmation method for golf club shafts, Product Safety Association, Japan, 1993"
)
@pytest.mark.parametrize(
    ("field", "station", "span", "load"),
    [
        ("strength_from", "90 mm", "150 mm", "800 N"),
        ("strength_a", "175 mm", "300 mm", "400 N"),
        ("strength_b", "525 mm", "300 mm", "400 N"),
        ("strength_to", "175 mm", "300 mm", "400 N"),
    ],
)
def test_strength_points_and_their_moment(field, station, span, load):
    bench = Bench()
    assert getattr(bench, field) == pytest.approx(read_quantity(station, "length"))
    moment = read_quantity(load, "force") * read_quantity(span, "length") / 4
    assert bench.strength_moment == pytest.approx(moment, rel=1e-12)


@pytest.mark.source(
    "US 5,971,865, background: torque is the twist under one foot-pound of force"
)
def test_the_couple_of_the_torque_test():
    assert Bench().torque_moment == pytest.approx(1.35582, abs=5e-6)
    assert read_quantity("1 lbf ft", "moment") == pytest.approx(
        Bench().torque_moment, rel=1e-9
    )


@pytest.mark.source(
    "forward and reverse flex of golf shafts in patents, distances and loads from "
    "memory; ratio: US 10,213,668 B2, abstract"
)
def test_the_flex_tests():
    bench = Bench()
    forward = (bench.butt_hold, bench.butt_support, bench.butt_load_at)
    assert forward == pytest.approx((0.075, 0.215, 1.039))
    assert bench.butt_load == pytest.approx(read_quantity("2.7 kgf", "force"))
    reverse = (bench.tip_hold, bench.tip_support, bench.tip_load_at)
    assert reverse == pytest.approx((0.012, 0.152, 0.932))
    assert bench.tip_load == pytest.approx(read_quantity("1.3 kgf", "force"))
