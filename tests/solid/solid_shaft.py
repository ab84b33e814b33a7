"""A whole shaft in solid finite elements: cantilever, twist, first frequency.

A quarter of the shaft from its tip to the clamp. Rings are orthotropic, so a plane of
symmetry and one of antisymmetry stand for the rest: bent along x, nothing moves along y
on both planes nor along z on the plane x = 0; twisted, nothing moves out of the circles
on both. The end in the clamp is held in all directions.
"""

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
import scipy.linalg
import scipy.sparse as sp

from tests.solid.solid_tube import Solid, X, Y, Z

#: distances from both ends at which an element ends, whatever the longest one [m]
_NEAR_ENDS = (0.001, 0.0025, 0.005, 0.010, 0.016, 0.024)
#: a face's share of the full circle
QUARTER = 4.0


def wall(design, library, cells):
    """Stations, interfaces and rings of a design from its tip to the clamp.

    Written from the meaning of flags alone: turns are laid on the mandrel in rolling
    order, then the outside is ground.

    Parameters
    ----------
    design, library : Design, Library
        Without trims and without a ground tip.
    cells : float
        Longest element. [m]

    Returns
    -------
    z : ndarray, shape (n_z,)
        Stations. [m]
    radii : ndarray, shape (n_ring + 1, n_z)
        Interfaces. [m]
    rings : list of tuple
        (E1, E2, G12, nu12, angle, is_pair) of each flag.
    density : list of float
        Of each flag. [kg/m³]
    """
    shaft, finish, bench = design.shaft, design.finish, design.bench
    end = shaft.length - bench.frequency_clamp
    mandrel = library.mandrels[shaft.mandrel]
    corners = [0.0, end, bench.torque_grip]
    # elements grow away from the ends, where the solid is disturbed
    corners += [x for d in _NEAR_ENDS for x in (d, end - d)]
    corners += [d - shaft.mandrel_set for d in mandrel.distance]
    for flag in design.flags:
        corners += [flag.start, flag.start + flag.run_out_tip]
        corners += [flag.end - flag.run_out_butt, flag.end]
    corners = np.unique([c for c in np.round(corners, 9) if 0.0 <= c <= end])

    def build(z):
        bore = np.interp(z + shaft.mandrel_set, mandrel.distance, mandrel.diameter) / 2
        out = [bore]
        for flag in design.flags:
            xs, ys = [flag.start], [0.0 if flag.run_out_tip else 1.0]
            if flag.run_out_tip:
                xs.append(flag.start + flag.run_out_tip)
                ys.append(1.0)
            if flag.run_out_butt:
                xs.append(flag.end - flag.run_out_butt)
                ys.append(1.0)
            xs.append(flag.end)
            ys.append(0.0 if flag.run_out_butt else 1.0)
            turns = flag.wraps * (2 if flag.is_pair else 1)
            ply = library.prepregs[flag.material].cured(finish.resin_bleed)
            share = np.interp(z, xs, ys, left=0.0, right=0.0)
            out.append(out[-1] + turns * ply.thickness * share)
        radii = np.array(out)
        return np.minimum(radii, radii[-1] - finish.grind)

    # where grinding just reaches the next flag, interfaces have corners of their own
    probe = np.linspace(0.0, end, 200_001)
    kinks = [
        probe[i]
        for row in np.diff(build(probe), axis=0)
        for i in np.flatnonzero(np.diff(row > 1e-12)) + 1
        if np.min(np.abs(corners - probe[i])) > 2e-5
    ]
    corners = np.unique([*corners, *np.round(kinks, 6)])
    z = np.unique(
        np.concatenate(
            [
                np.linspace(a, b, max(1, int(np.ceil((b - a) / cells - 1e-9))) + 1)
                for a, b in pairwise(corners)
            ]
        )
    )
    radii = build(z)
    rings, density = [], []
    for flag in design.flags:
        ply = library.prepregs[flag.material].cured(finish.resin_bleed)
        moduli = (ply.E1, ply.E2, ply.G12, ply.nu12)
        rings.append((*moduli, flag.angle, flag.is_pair))
        density.append(ply.density)
    return z, radii, rings, density


def _banded_cholesky(K):
    """Factor a symmetric positive matrix of narrow band."""
    lower = sp.tril(K).tocoo()
    offset = lower.row - lower.col
    band = np.zeros((int(offset.max()) + 1, K.shape[0]))
    band[offset, lower.col] = lower.data
    factor = scipy.linalg.cholesky_banded(
        band, lower=True, overwrite_ab=True, check_finite=False
    )
    return lambda b: scipy.linalg.cho_solve_banded(
        (factor, True), b, check_finite=False
    )


@dataclass
class SolidShaft:
    """What the solid says of a design."""

    design: object
    library: object
    cells: float = 0.010
    n_theta: int = 4

    def __post_init__(self):
        self.z, radii, rings, self.density = wall(self.design, self.library, self.cells)
        self.radii = radii
        self.solid = Solid(
            radii=radii,
            z=self.z,
            angles=np.linspace(0.0, np.pi / 2, self.n_theta + 1),
            rings=rings,
        )
        self.clamped = self.solid.at(Z, self.z[-1], (X, Y, Z))

    @cached_property
    def K(self):
        return self.solid.stiffness()

    def _solver(self, held):
        free = np.setdiff1d(np.arange(self.solid.n), held)
        solve = _banded_cholesky(self.K[free][:, free])

        def solved(b):
            u = np.zeros(self.solid.n)
            u[free] = solve(b[free])
            return u

        return solved

    def bending(self, force):
        """Tip deflection under a force on the tip [m], first frequency [Hz]."""
        solid = self.solid
        held = [self.clamped, solid.at(Y, 0.0, (Y,)), solid.at(X, 0.0, (Y, Z))]
        solve = self._solver(np.unique(np.concatenate(held)))

        def across(x, _y):
            return 1.0 + 0.0 * x, 0.0, 0.0

        area = np.pi * (self.radii[-1, 0] ** 2 - self.radii[0, 0] ** 2)
        mean = solid.face(0.0, across) * QUARTER / area
        deflection = float(mean @ solve(mean * force / QUARTER))
        M = solid.mass(self.density)
        tip = self.design.bench.tip_mass
        u = solve(mean)
        before = 0.0
        for _ in range(40):
            u = solve(M @ u + mean * (tip / QUARTER) * (mean @ u))
            size = float(mean @ u)
            u /= size
            if abs(size - before) < 1e-11 * size:
                break
            before = size
        return deflection, float(np.sqrt(1.0 / size) / (2.0 * np.pi))

    def mass(self):
        """Mass from the tip to the clamp. [kg]"""
        axial = (np.arange(self.solid.n) % 3 == Z).astype(float)
        return QUARTER * float(axial @ (self.solid.mass(self.density) @ axial))

    def torsion(self, couple):
        """Twist of the tip, and of the section at the tip grip's end. [rad]"""
        solid = self.solid
        held = [self.clamped, solid.at(Y, 0.0, (X, Z)), solid.at(X, 0.0, (Y, Z))]
        solve = self._solver(np.unique(np.concatenate(held)))
        turns = []
        for station in (0.0, self.design.bench.torque_grip):
            i = int(np.argmin(np.abs(self.z - station)))
            polar = np.pi / 2 * (self.radii[-1, i] ** 4 - self.radii[0, i] ** 4)

            def around(x, y):
                return -y, x, 0.0

            turns.append(solid.face(self.z[i], around) * QUARTER / polar)
        u = solve(turns[0] * couple / QUARTER)
        return tuple(float(turn @ u) for turn in turns)
