"""Layered tubes of one section, put through the compiled functions for the tests."""

import math
from dataclasses import dataclass

import numpy as np

from model.failure import N_LIMITS, SHEARED, ply_limits
from model.governing import Rings
from model.laminate import (
    N_SUMS,
    add_ring,
    close_section,
    ring_stiffness,
)
from model.materials import Ply
from model.residual import add_cooling, cooling_stress, free_strains
from model.shell import N_HOOP, add_hoop, close_hoop, crush_use
from model.strength import (
    N_FIELD,
    bending_field,
    fibre_use,
    shear_use,
    torsion_field,
)

#: The textbook carbon/epoxy ply: A. K. Kaw, Mechanics of Composite Materials, 2nd ed.,
#: 2006, table 2.1.
KAW = {"E1": 181e9, "E2": 10.3e9, "G12": 7.17e9, "nu12": 0.28}
KAW_STRENGTH = {"Xt": 1500e6, "Xc": 1500e6, "Yt": 40e6, "Yc": 246e6, "S": 68e6}
KAW_EXPANSION = (0.02e-6, 22.5e-6)


def ply_of(E1, E2, G12, nu12, Xt, Xc, Yt, Yc, S, expansion=(0.0, 30e-6)):
    """Ply of given strengths; the part that only the wall and its mass need is idle."""
    return Ply(
        thickness=1e-4,
        areal_mass=0.15,
        Vf=0.6,
        density=1500.0,
        E1=E1,
        E2=E2,
        G12=G12,
        nu12=nu12,
        strain_tension=Xt / E1,
        strain_compression=Xc / E1,
        strain_transverse=Yt / E2,
        strain_transverse_compression=Yc / E2,
        strain_shear=S / G12,
        expansion_along=expansion[0],
        expansion_across=expansion[1],
    )


def kaw_ply():
    return ply_of(**KAW, **KAW_STRENGTH, expansion=KAW_EXPANSION)


def isotropic(E, nu, strength=1e9, expansion=1e-5):
    G = E / 2 / (1 + nu)
    return ply_of(E, E, G, nu, *(4 * [strength]), strength, (expansion, expansion))


@dataclass(frozen=True)
class Layer:
    ply: Ply
    degrees: float
    thickness: float
    is_pair: bool = False


class Tube:
    """One section of layers on an inner radius, as arrays of one point."""

    def __init__(self, inner, layers, *, drop=0.0, width=0.010):
        self.layers = layers
        n = len(layers)
        edges = inner + np.cumsum([0.0] + [layer.thickness for layer in layers])
        self.r_in, self.r_out = edges[:-1, None], edges[1:, None]
        self.radius = np.array([edges[-1]])
        self.sums = np.zeros((N_SUMS, 1))
        self.hoop = np.zeros((N_HOOP, 1))
        self.cooling, self.free = np.zeros((3, 1)), np.zeros((3, 1))
        limits, angles = np.zeros((n, N_LIMITS)), np.zeros((n, 3))
        for k, layer in enumerate(layers):
            ply, angle = layer.ply, math.radians(layer.degrees)
            Q = ring_stiffness(
                ply.E1, ply.E2, ply.G12, ply.nu12, angle, is_pair=layer.is_pair
            )
            add_ring(Q, self.r_in[k], self.r_out[k], 0, 0, self.sums, True)
            add_hoop(Q[2], self.r_in[k], self.r_out[k], 0, 0, self.hoop)
            stress = cooling_stress(ply, angle, drop, is_pair=layer.is_pair)
            add_cooling(stress, self.r_in[k], self.r_out[k], 0, 0, self.cooling)
            limits[k] = ply_limits(ply, drop)
            c, s = math.cos(angle), math.sin(angle)
            angles[k] = c * c, s * s, c * s
        self.EI, self.GJ, hoop, axis, slope, shear = np.zeros((6, 1))
        close_section(self.sums, 1, True, self.EI, self.GJ, hoop, axis, slope, shear)
        self.bending, self.torsion = np.zeros((2, N_FIELD, 1))
        bending_field(axis, slope, shear, 1, self.bending)
        torsion_field(self.sums, self.GJ, 1, True, self.torsion)
        close_hoop(1, width, self.hoop)
        free_strains(self.sums, self.cooling, 1, self.free)
        self.rings = Rings(
            limits,
            angles,
            np.array([layer.is_pair for layer in layers]),
            self.r_in,
            self.r_out,
            np.zeros(n, dtype=np.int64),
            np.zeros(n, dtype=np.int64),
        )

    def fibre_use(self, field):
        """Inverse of the load of a field at which the fibres fail."""
        use = np.zeros(1)
        for k, layer in enumerate(self.layers):
            ply = layer.ply
            allowable = min(ply.strain_tension, ply.strain_compression)
            args = (*self.rings.angles[k], layer.is_pair, allowable, field)
            fibre_use(*args, self.r_in[k], self.r_out[k], 0, 0, use)
        return float(use[0])

    def shear_use(self):
        """Inverse of the torque at which the matrix of every ply has failed."""
        use = np.full(1, np.inf)
        for k, layer in enumerate(self.layers):
            allowable = self.rings.limits[k, SHEARED]
            args = (*self.rings.angles[k], layer.is_pair, allowable, self.torsion)
            shear_use(*args, self.radius, self.r_in[k], self.r_out[k], 0, 0, use)
        return float(use[0])

    def breaking_torque(self):
        return 1.0 / max(self.fibre_use(self.torsion), self.shear_use())

    def crush_load(self):
        """Load at which a ring of this section fails first."""
        use = np.zeros(1)
        for k in range(len(self.layers)):
            args = (self.rings.limits[k], *self.rings.angles[k], self.hoop)
            crush_use(*args, self.r_in[k], self.r_out[k], 0, 0, use)
        return 1.0 / float(use[0])
