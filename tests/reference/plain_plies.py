"""Plies and rings by plain formulas; shares no code with the package."""

from math import cos, sin

import numpy as np


def halpin_tsai(fibre, matrix, Vf, xi):
    ratio = fibre / matrix
    eta = (ratio - 1) / (ratio + xi)
    return matrix * (1 + xi * eta * Vf) / (1 - eta * Vf)


def cured_ply(prepreg, bleed):
    """Cured ply of a prepreg that loses `bleed` of its mass as resin."""
    fibre, resin = prepreg.fibre, prepreg.resin
    content = (prepreg.resin_content - bleed) / (1 - bleed)
    fibre_volume = prepreg.faw / fibre.density  # per area
    resin_mass = prepreg.faw * content / (1 - content)
    thickness = fibre_volume + resin_mass / resin.density
    if prepreg.thickness is not None:
        thickness = prepreg.thickness
    Vf = fibre_volume / thickness
    Em = resin.modulus
    Gm = Em / (2 * (1 + resin.poisson))
    ply = {
        "thickness": thickness,
        "areal_mass": prepreg.faw + resin_mass,
        "density": (prepreg.faw + resin_mass) / thickness,
        "Vf": Vf,
        "E1": fibre.E1 * Vf + Em * (1 - Vf),
        "nu12": fibre.nu12 * Vf + resin.poisson * (1 - Vf),
        "E2": halpin_tsai(fibre.E2, Em, Vf, 2.0),
        "G12": halpin_tsai(fibre.G12, Gm, Vf, 1.0),
    }
    for key in ("E1", "E2", "G12", "nu12"):
        measured = getattr(prepreg, key)
        if measured is not None:
            ply[key] = measured
    return ply


def strain_rotation(angle):
    """Rows turn (axial, hoop, shear) strain into (fibre, transverse, shear) strain."""
    c, s = cos(angle), sin(angle)
    return [
        [c * c, s * s, c * s],
        [s * s, c * c, -c * s],
        [-2 * c * s, 2 * c * s, c * c - s * s],
    ]


def own_stiffness(ply):
    """Plane-stress stiffness in the ply's own axes."""
    nu21 = ply["nu12"] * ply["E2"] / ply["E1"]
    d = 1 - ply["nu12"] * nu21
    return [
        [ply["E1"] / d, ply["nu12"] * ply["E2"] / d, 0.0],
        [ply["nu12"] * ply["E2"] / d, ply["E2"] / d, 0.0],
        [0.0, 0.0, ply["G12"]],
    ]


def ring_stiffness(ply, angle, is_pair):
    """Stiffness of a ring as 3 rows (axial, hoop, shear); a pair has no coupling.

    From equal strain energy in both axes: T' Q T, T the rotation of strains.
    """
    Q = own_stiffness(ply)
    T = strain_rotation(angle)
    out = [[0.0] * 3 for _ in range(3)]
    for i in range(3):
        for j in range(3):
            for k in range(3):
                for m in range(3):
                    out[i][j] += T[k][i] * Q[k][m] * T[m][j]
    if is_pair:
        out[0][2] = out[2][0] = out[1][2] = out[2][1] = 0.0
    return out


def ring_solid(ply, angle, is_pair):
    """Of a ring as a solid: radial per axial and per hoop strain, stiffness, loss.

    With nothing pressing radially a strain e along the fibres and one t across them
    make the radial strain -(l e + m t). A difference of hoop strain between layers
    shears the wall and squeezes it, in series. A pair's plies squeeze each other.
    """
    E1, E2, G12, nu12 = (ply[key] for key in ("E1", "E2", "G12", "nu12"))
    nu23 = nu12 * (1 - nu12 * E2 / E1) / (1 - nu12)
    flexible = np.array(
        [
            [1 / E1, -nu12 / E1, -nu12 / E1],
            [-nu12 / E1, 1 / E2, -nu23 / E2],
            [-nu12 / E1, -nu23 / E2, 1 / E2],
        ]
    )
    stiff = np.linalg.inv(flexible)
    along, across, radial = stiff[2]
    c2, s2 = cos(angle) ** 2, sin(angle) ** 2
    p, q = (c2 * along + s2 * across) / radial, (s2 * along + c2 * across) / radial
    shear = s2 * G12 + c2 * E2 / 2 / (1 + nu23)
    loss = 0.0
    if is_pair:
        pull = ring_stiffness(ply, angle, False)[1][2]
        loss = (pull * ply["thickness"]) ** 2 / 3 / radial
    return p, q, shear * radial / (shear + radial), loss
