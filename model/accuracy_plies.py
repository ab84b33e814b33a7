"""Rows of the accuracy table: stiffness and strength of plies and flat laminates.

Textbook examples to their printed digits, and numbers worked out from a stated
equation to the digits they are given to.
"""

import math
from collections.abc import Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

from model.accuracy import AccuracyWord, Case, Checks, printed
from model.failure import ply_limits, ply_strains, ply_uses
from model.laminate import (
    A2_11,
    A2_12,
    A2_16,
    A2_22,
    A2_26,
    A2_66,
    A3_16,
    A3_26,
    A4_66,
    N_SUMS,
    Q22,
    add_ring,
    close_section,
    plane_stiffness,
    ring_stiffness,
    rotated_stiffness,
)
from model.materials import Ply
from model.micromechanics import (
    areal_mass,
    halpin_tsai,
    mixture,
    ply_thickness,
)
from model.shell import N_HOOP, SECOND, add_hoop

Array = NDArray[np.float64]

PLIES = Checks("Ply, laminate, micromechanics")

_KAW: Final = "Kaw, Mechanics of Composite Materials, 2nd ed., 2006, "
#: Carbon/epoxy of its table 2.1: E1, E2, G12, nu12.
KAW_PLY: Final = (181e9, 10.3e9, 7.17e9, 0.28)
#: Its strengths along the fibres, across (tension, compression), in shear. [Pa]
_KAW_STRENGTH: Final = (1500e6, 40e6, 246e6, 68e6)


def _kaw(degrees: float) -> Array:
    return rotated_stiffness(plane_stiffness(*KAW_PLY), math.radians(degrees))


def _matrix(q: Array) -> Array:
    q11, q12, q22, q66, q16, q26 = q
    return np.array([[q11, q12, q16], [q12, q22, q26], [q16, q26, q66]])


# ------------------------------------------------------------------ ply and laminate


@PLIES.line(
    "Stiffness Q of a ply",
    _KAW + "ex. 2.6",
    kind=AccuracyWord.PUBLISHED,
    mark=AccuracyWord.READ,
)
def _ply() -> Iterator[Case]:
    for q, text in zip(
        plane_stiffness(*KAW_PLY), ("181.8", "2.897", "10.35", "7.17"), strict=True
    ):
        yield printed(q / 1e9, text)


@PLIES.line(
    "Stiffness of a ply at 60 deg",
    _KAW + "ex. 2.7",
    kind=AccuracyWord.PUBLISHED,
    mark=AccuracyWord.READ,
)
def _turned_ply() -> Iterator[Case]:
    texts = ("23.65", "32.46", "109.4", "36.74", "20.05", "54.19")
    for q, text in zip(_kaw(60.0), texts, strict=True):
        yield printed(q / 1e9, text)


def laminate_from_rings(
    angles: tuple[float, ...], thickness: float
) -> dict[str, float]:
    """A, B and D of a flat laminate, from the ring sums of tubes of growing radius.

    A ring at radius R + z adds Q (R + z)^n dz to its sums, so that the coefficients of
    their powers of R are A, B and D: exact, whatever the radii. D11 and D12 stand in
    none of the sums.

    Parameters
    ----------
    angles : tuple of float
        Of the plies of `KAW_PLY`, from z below upward. [deg]
    thickness : float
        Of a ply. [m]

    Returns
    -------
    stiffness : dict
        Keyed A11, B11, D11 and so on. [N/m, N, N·m]
    """
    n = len(angles)
    edges = (np.arange(n + 1) - n / 2) * thickness
    R = n * thickness * np.array([1.0, 2.0, 3.0, 4.0])
    sums = np.zeros((N_SUMS, len(R)))
    bent = np.zeros((N_HOOP, len(R)))
    last = len(R) - 1
    for angle, a, b in zip(angles, edges[:-1], edges[1:], strict=True):
        Q = ring_stiffness(*KAW_PLY, math.radians(angle))
        add_ring(Q, R + a, R + b, 0, last, sums, True)
        add_hoop(Q[Q22], R + a, R + b, 0, last, bent)
    sums = np.vstack([sums, bent[SECOND]])
    # powers of R over the laminate's own thickness, so that they are well told apart
    scale = R[0]
    found = np.linalg.solve(np.vander(R / scale, increasing=True), sums.T)
    power = found / scale ** np.arange(len(R))[:, None]
    out = {}
    for ij, row in (
        ("11", A2_11),
        ("12", A2_12),
        ("16", A2_16),
        ("22", A2_22),
        ("26", A2_26),
        ("66", A2_66),
    ):
        out[f"A{ij}"], out[f"B{ij}"] = float(power[1, row]), float(power[0, row])
    for ij, row in (("16", A3_16), ("26", A3_26), ("22", N_SUMS)):
        out[f"D{ij}"] = float(power[0, row])
    out["D66"] = float(power[1, A4_66]) / 3.0
    return out


@PLIES.line(
    "A, B, D16 to D66 of [0/30/-45] in the ring sums",
    _KAW + "ex. 4.2",
    kind=AccuracyWord.PUBLISHED,
    mark=AccuracyWord.READ,
)
def _laminate() -> Iterator[Case]:
    found = laminate_from_rings((0.0, 30.0, -45.0), 5e-3)
    for key, text in {
        "A11": "1.739e9",
        "A12": "3.884e8",
        "A16": "5.663e7",
        "A22": "4.533e8",
        "A26": "-1.141e8",
        "A66": "4.525e8",
        "B11": "-3.129e6",
        "B12": "9.855e5",
        "B16": "-1.072e6",
        "B22": "1.158e6",
        "B26": "-1.072e6",
        "B66": "9.855e5",
        "D16": "-5240",
        "D22": "9320",
        "D26": "-5596",
        "D66": "7663",
    }.items():
        yield printed(found[key], text)


@PLIES.line(
    "Ex, Gxy of a ply at 15, 30, 45 deg", _KAW + "sec. 2.7", kind=AccuracyWord.PUBLISHED
)
def _off_axis() -> Iterator[Case]:
    for degrees, Ex, Gxy in (
        (15.0, "72.629", "7.632"),
        (30.0, "28.780", "8.761"),
        (45.0, "16.737", "9.460"),
    ):
        s = np.linalg.inv(_matrix(_kaw(degrees))) * 1e9
        yield printed(1.0 / s[0, 0], Ex)
        yield printed(1.0 / s[2, 2], Gxy)


@PLIES.line(
    "Ex, Gxy, nu of ±45, ±30 by a thin tube",
    _KAW + "ch. 4",
    kind=AccuracyWord.PUBLISHED,
)
def _pairs() -> Iterator[Case]:
    radius, thickness = 7e-3, 1e-6
    inner, outer = (
        np.array([radius - thickness / 2]),
        np.array([radius + thickness / 2]),
    )
    for degrees, Ex, Gxy, nu in (
        (45.0, "25.051", "46.591", "0.7469"),
        (30.0, "64.814", "36.736", "1.3728"),
    ):
        sums = np.zeros((N_SUMS, 1))
        EI, GJ, whole, axis, slope, shear = np.zeros((6, 1))
        Q = ring_stiffness(*KAW_PLY, math.radians(degrees), is_pair=True)
        add_ring(Q, inner, outer, 0, 0, sums, True)
        close_section(sums, 1, True, EI, GJ, whole, axis, slope, shear)
        hoop = axis[0] + slope[0] * radius
        wall = math.pi * radius**3 * thickness * 1e9
        yield printed(EI[0] / wall, Ex)
        yield printed(GJ[0] / wall / 2.0, Gxy)
        yield printed(-hoop / radius, nu)


def _factors_at_60_degrees() -> tuple[float, float]:
    """Load factors of the ply under 2, -3, 4 MPa: maximum strain, quadratic."""
    E1, E2, G12, nu12 = KAW_PLY
    X, Yt, Yc, S = _KAW_STRENGTH
    ply = Ply(
        thickness=1e-4,
        areal_mass=0.16,
        Vf=0.7,
        density=1600.0,
        E1=E1,
        E2=E2,
        G12=G12,
        nu12=nu12,
        strain_tension=X / E1,
        strain_compression=X / E1,
        strain_transverse=Yt / E2,
        strain_transverse_compression=Yc / E2,
        strain_shear=S / G12,
        expansion_along=0.0,
        expansion_across=0.0,
    )
    strain = np.linalg.solve(_matrix(_kaw(60.0)), [2e6, -3e6, 4e6])
    c, s = math.cos(math.radians(60.0)), math.sin(math.radians(60.0))
    local = ply_strains(c * c, s * s, c * s, *strain)
    fibre, _, crack, _, quadratic, _ = ply_uses(ply_limits(ply), *local, 0.0, 0.0, 0.0)
    return 1.0 / max(fibre, crack), 1.0 / quadratic


@PLIES.line(
    "Failure of a 60 deg ply, maximum strain",
    _KAW + "ch. 2, under 2S, -3S, 4S",
    kind=AccuracyWord.PUBLISHED,
    mark=AccuracyWord.MEMORY,
)
def _maximum_strain() -> Iterator[Case]:
    yield printed(_factors_at_60_degrees()[0], "16.33")


@PLIES.line(
    "Failure of a 60 deg ply, Tsai-Wu",
    _KAW + "ch. 2, H12 = -sqrt(H11 H22)/2",
    kind=AccuracyWord.PUBLISHED,
    mark=AccuracyWord.MEMORY,
)
def _quadratic() -> Iterator[Case]:
    yield printed(_factors_at_60_degrees()[1], "22.39")


@PLIES.line(
    "Glass/epoxy ply from fibre and resin",
    _KAW + "ch. 3, Vf 0.7",
    kind=AccuracyWord.PUBLISHED,
    mark=AccuracyWord.MEMORY,
)
def _micromechanics() -> Iterator[Case]:
    fibre, resin, Vf = 85.0, 3.4, 0.7
    # E/(2 (1 + nu)), nu 0.2 and 0.3, rounded as in the book
    fibre_shear, resin_shear = 35.42, 1.308
    yield printed(mixture(fibre, resin, Vf), "60.52")
    yield printed(mixture(0.2, 0.3, Vf), "0.230")
    # without reinforcement the rule is the inverse rule of mixtures
    yield printed(halpin_tsai(fibre, resin, Vf, 0.0), "10.37")
    yield printed(halpin_tsai(fibre, resin, Vf, 2.0), "20.20")
    yield printed(halpin_tsai(fibre_shear, resin_shear, Vf, 0.0), "4.014")
    yield printed(halpin_tsai(fibre_shear, resin_shear, Vf, 1.0), "6.169")


@PLIES.line(
    "Mass, thickness, Vf, density of cured plies",
    "constituent-content rule: ASTM D3171, method II; CMH-17-1",
    kind=AccuracyWord.PUBLISHED,
    mark=AccuracyWord.MEMORY,
)
def _contents() -> Iterator[Case]:
    for faw, resin, fibre_density, mass, thickness, Vf, density in (
        (0.125, 0.25, 1800.0, "166.67", "0.1042", "0.6667", "1.6000"),
        (0.050, 0.30, 1800.0, "71.43", "0.0456", "0.6087", "1.5652"),
        (0.125, 0.25, 2190.0, "166.67", "0.0918", "0.6218", "1.8155"),
    ):
        whole = areal_mass(faw, resin)
        t = ply_thickness(faw, resin, fibre_density, 1200.0)
        yield printed(whole * 1e3, mass)
        yield printed(t * 1e3, thickness)
        yield printed(faw / fibre_density / t, Vf)
        yield printed(whole / t * 1e-3, density)
