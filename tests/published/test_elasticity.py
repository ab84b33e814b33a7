"""The exact section against closed forms of the theory of elasticity."""

import math

import numpy as np
import pytest

from model.elasticity import exact_section
from model.solid import rotated_solid, solid_stiffness

KAW = "A. K. Kaw, Mechanics of Composite Materials, 2nd ed., 2006, "
LOVE = (
    "A. E. H. Love, A Treatise on the Mathematical Theory of Elasticity, 4th ed., "
    "1927, "
)
TIMOSHENKO = "S. P. Timoshenko and J. N. Goodier, Theory of Elasticity, "
PLY = (181e9, 10.3e9, 7.17e9, 0.28)
E = 70e9


def isotropic(nu, modulus=E):
    return solid_stiffness(modulus, modulus, modulus / 2 / (1 + nu), nu)


@pytest.mark.source("exact: second moments of a circular ring")
@pytest.mark.parametrize("nu", [0.0, 0.3, 0.45])
@pytest.mark.parametrize(("inner", "outer"), [(2.5e-3, 4.25e-3), (6.5e-3, 7.5e-3)])
def test_isotropic_tube(nu, inner, outer):
    edges = np.linspace(inner, outer, 4)[:, None]
    section = exact_section([isotropic(nu)] * 3, edges[:-1], edges[1:])
    second = math.pi / 4 * (outer**4 - inner**4)
    assert section.EI[0] == pytest.approx(E * second, rel=1e-11)
    assert section.GJ[0] == pytest.approx(E / (1 + nu) * second, rel=1e-11)
    assert section.EA[0] == pytest.approx(
        E * math.pi * (outer**2 - inner**2), rel=1e-11
    )
    assert section.coupling[0] == 0.0
    # Saint-Venant: uniaxial stress, so Poisson's contraction of every fibre
    r = np.stack([edges[:-1, 0], edges[1:, 0]], axis=1)
    none = np.zeros_like(r)
    bent = np.stack([r, -nu * r, -nu * r, none, none, none], axis=-1)
    np.testing.assert_allclose(section.bending[:, 0], bent, atol=1e-10 * outer)
    stretched = np.array([1.0, -nu, -nu, 0.0, 0.0, 0.0])
    np.testing.assert_allclose(
        section.stretch[:, 0], np.broadcast_to(stretched, (3, 2, 6)), atol=1e-10
    )


@pytest.mark.source(
    "Lamé, thick cylinders under pressure, in " + TIMOSHENKO + "chapter on polar "
    "coordinates; from memory; two tubes stretched together derived here"
)
@pytest.mark.parametrize("nus", [(0.1, 0.4), (0.45, 0.0)])
def test_two_tubes_of_unlike_contraction_press_on_each_other(nus):
    a, b, c = 3e-3, 4e-3, 5.5e-3
    moduli = (200e9, 70e9)
    # plane strain (u = -nu r e + p terms): per unit stretch, pressure p at b closes
    # the gap between the outer wall of one tube and the bore of the other

    def widening(r, inside, outside, modulus, nu, presses_outward):
        """Displacement at r = b over pressure, the length held."""
        k = 1 if presses_outward else -1
        i2, o2 = inside**2, outside**2
        if presses_outward:  # pressure on the bore
            constant, inverse = i2 / (o2 - i2), i2 * o2 / (o2 - i2)
        else:  # pressure on the outer wall
            constant, inverse = o2 / (o2 - i2), i2 * o2 / (o2 - i2)
        return (
            k * (1 + nu) / modulus * ((1 - 2 * nu) * constant * r + inverse / r),
            2 * nu * k * constant,  # axial stress over pressure
        )

    give_in, axial_in = widening(b, a, b, moduli[0], nus[0], False)
    give_out, axial_out = widening(b, b, c, moduli[1], nus[1], True)
    p = (nus[1] - nus[0]) * b / (give_out - give_in)
    area_in, area_out = math.pi * (b**2 - a**2), math.pi * (c**2 - b**2)
    EA = (moduli[0] + p * axial_in) * area_in + (moduli[1] + p * axial_out) * area_out
    C = [isotropic(nu, m) for nu, m in zip(nus, moduli, strict=True)]
    section = exact_section(C, [[a], [b]], [[b], [c]], degree=5)
    assert section.EA[0] == pytest.approx(EA, rel=1e-9)
    uncoupled = moduli[0] * area_in + moduli[1] * area_out
    assert EA / uncoupled > 1.0005  # the test would see a pressure left out
    stress = C[1] @ section.stretch[1, 0, 0]
    assert stress[2] == pytest.approx(-p, rel=1e-3)


def flexure_energy(nu, a, b):
    """Twice the shear energy for V = 1 and G = 1 of a ring a < r < b, by quadrature.

    Stress of the flexure function of a hollow circle; the function itself is from
    memory, so what makes it right (no traction, equilibrium, resultant) is checked.
    """
    second = math.pi / 4 * (b**4 - a**4)
    points, weights = np.polynomial.legendre.leggauss(40)
    r = (a + b) / 2 + points * (b - a) / 2
    theta = np.arange(64) * 2 * math.pi / 64
    R, T = np.meshgrid(r, theta, indexing="ij")
    dA = (weights * (b - a) / 2 * r)[:, None] * (2 * math.pi / 64)

    def stress(R, T):
        x, y = R * np.cos(T), R * np.sin(T)
        k = 0.75 + nu / 2
        # chi = -k ((a² + b²) r + a² b²/r) cos + r³ cos(3 theta)/4
        dr = -k * (a**2 + b**2 - a**2 * b**2 / R**2) * np.cos(T)
        dr += 0.75 * R**2 * np.cos(3 * T)
        dt = k * (a**2 + b**2 + a**2 * b**2 / R**2) * np.sin(T)
        dt -= 0.75 * R**2 * np.sin(3 * T)
        chi_x = dr * np.cos(T) - dt * np.sin(T)
        chi_y = dr * np.sin(T) + dt * np.cos(T)
        share = -1 / (2 * (1 + nu) * second)
        return (
            share * (chi_x + nu * x**2 / 2 + (1 - nu / 2) * y**2),
            share * (chi_y + (2 + nu) * x * y),
        )

    X, Y = stress(R, T)
    size = np.abs(X).max()
    # traction
    for edge in (a, b):
        if edge > 0.0:
            sx, sy = stress(np.full_like(theta, edge), theta)
            normal = sx * np.cos(theta) + sy * np.sin(theta)
            assert np.abs(normal).max() < 1e-12 * size
    # resultant
    assert np.sum(X * dA) == pytest.approx(1.0, rel=1e-9)
    assert abs(np.sum(Y * dA)) < 1e-9
    # equilibrium: divergence is -x/I (bending stress of a moment that grows along z)
    h = 1e-5 * b
    x, y = R * np.cos(T), R * np.sin(T)

    def at(x, y):
        return stress(np.hypot(x, y), np.arctan2(y, x))

    divergence = (at(x + h, y)[0] - at(x - h, y)[0]) / (2 * h)
    divergence += (at(x, y + h)[1] - at(x, y - h)[1]) / (2 * h)
    np.testing.assert_allclose(divergence, -x / second, atol=1e-5 * size / b)
    return float(np.sum((X**2 + Y**2) * dA))


@pytest.mark.source(LOVE + "chapter XV, flexure of a hollow circle; from memory")
@pytest.mark.parametrize("nu", [0.0, 0.3, 0.45])
@pytest.mark.parametrize("bore", [0.3, 0.6, 0.9])
def test_transverse_shear_of_an_isotropic_tube(nu, bore):
    a, b = bore, 1.0
    edges = np.linspace(a, b, 4)[:, None]
    C = isotropic(nu)
    section = exact_section([C] * 3, edges[:-1], edges[1:], degree=5)
    G = E / 2 / (1 + nu)
    assert section.kGA[0] / G == pytest.approx(1 / flexure_energy(nu, a, b), rel=1e-7)


@pytest.mark.source(
    "shear coefficient of a solid circle by strain energy, "
    "6 (1 + nu)²/(7 + 14 nu + 8 nu²); from memory; " + LOVE + "chapter XV"
)
@pytest.mark.parametrize("nu", [0.0, 0.3, 0.5 - 1e-3])
def test_transverse_shear_of_a_solid_circle(nu):
    coefficient = 6 * (1 + nu) ** 2 / (7 + 14 * nu + 8 * nu**2)
    energy = flexure_energy(nu, 0.0, 1.0)
    assert 1 / energy / math.pi == pytest.approx(coefficient, rel=1e-9)
    G = E / 2 / (1 + nu)
    # a needle's bore: the stress it raises spans nothing
    edges = np.array([1e-6, 1e-4, 1e-2, 0.3, 1.0])[:, None]
    section = exact_section([isotropic(nu)] * 4, edges[:-1], edges[1:], degree=6)
    assert section.kGA[0] / (G * math.pi) == pytest.approx(coefficient, rel=1e-5)


@pytest.mark.source("thin tube: shear flow goes with the sine, so kA = A/2; common")
@pytest.mark.parametrize("nu", [0.0, 0.3])
def test_transverse_shear_of_a_thin_tube(nu):
    a, b = 6e-3, 6.006e-3
    section = exact_section([isotropic(nu)], [[a]], [[b]])
    shear = E / 2 / (1 + nu) * math.pi * (b**2 - a**2)
    assert section.kGA[0] == pytest.approx(shear / 2, rel=1e-6)


@pytest.mark.source("exact: Saint-Venant torsion and bending of a fibre-wise tube")
def test_a_tube_of_straight_fibres_is_simple():
    a, b = 2.5e-3, 4.25e-3
    section = exact_section([solid_stiffness(*PLY)], [[a]], [[b]])
    second = math.pi / 4 * (b**4 - a**4)
    assert section.EI[0] == pytest.approx(PLY[0] * second, rel=1e-9)
    assert section.GJ[0] == pytest.approx(2 * PLY[2] * second, rel=1e-11)
    assert section.EA[0] == pytest.approx(PLY[0] * math.pi * (b**2 - a**2), rel=1e-9)


@pytest.mark.source("computed independently; " + KAW + "section 2.7")
@pytest.mark.parametrize(
    ("degrees", "Ex", "Gxy"),
    [(15, 72.629e9, 7.632e9), (30, 28.780e9, 8.761e9), (45, 16.737e9, 9.460e9)],
)
def test_a_thin_tube_of_one_ply_takes_its_off_axis_constants(degrees, Ex, Gxy):
    r, t = 7e-3, 7e-6
    C = rotated_solid(solid_stiffness(*PLY), math.radians(degrees))
    section = exact_section([C], [[r - t / 2]], [[r + t / 2]])
    # a ply bent round a tube may shear and contract as it likes
    assert section.EI[0] == pytest.approx(math.pi * r**3 * t * Ex, rel=1e-4)
    assert section.GJ[0] == pytest.approx(2 * math.pi * r**3 * t * Gxy, rel=1e-4)


@pytest.mark.source("computed independently to the digits shown; " + KAW + "chapter 4")
@pytest.mark.parametrize(
    ("degrees", "Ex", "Gxy"), [(45, 25.051e9, 46.591e9), (30, 64.814e9, 36.736e9)]
)
def test_a_thin_tube_of_alternating_plies_takes_the_constants_of_the_pair(
    degrees, Ex, Gxy
):
    r, t = 7e-3, 7e-6
    solid = solid_stiffness(*PLY)
    C = [rotated_solid(solid, s * math.radians(degrees)) for s in (1, -1) * 8]
    edges = (r - t / 2 + np.linspace(0, 1, 17) * t)[:, None]
    section = exact_section(C, edges[:-1], edges[1:])
    assert section.EI[0] == pytest.approx(math.pi * r**3 * t * Ex, rel=1e-4)
    assert section.GJ[0] == pytest.approx(2 * math.pi * r**3 * t * Gxy, rel=1e-4)
