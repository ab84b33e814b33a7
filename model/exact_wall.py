"""The wall of one shaft by three-dimensional elasticity, ply by ply."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from model.conditions import Sheet
from model.design import Design
from model.elasticity import ExactSection, exact_section
from model.failure import (
    FIBRE_COMPRESSION,
    FIBRE_TENSION,
    SHEAR_MODE,
    TRANSVERSE_TENSION,
)
from model.governing import CRACK, FIBRE, Governing
from model.layers import Layer
from model.materials import Ply
from model.scratch import Work, between
from model.solid import alternating_plies, in_ply_axes, rotated_solid, solid_stiffness
from model.wall import NOTHING

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

_ALONG, _ACROSS, _SHEARED = 0, 1, 5
#: Radii may differ by this where they are equal but for rounding. [-]
_ROUNDED = 1e-9


class ExactWall(NamedTuple):
    """Section at every point and brink, and how much a unit curvature uses of plies."""

    section: ExactSection
    fibre: Array  #: (n_flag, n_x) strain along the fibres over what is allowed [m]
    across: Array  #: (n_flag, n_x) the same across them [m]
    sheared: Array  #: (n_flag, n_x) and in shear [m]
    is_pressed: NDArray[np.bool_]  #: (n_flag,) fibres bear less in compression

    @property
    def use(self) -> Array:
        """Inverse of the curvature that each point bears, shape (n_x,). [m]."""
        use: Array = self.fibre.max(axis=0)
        return use

    def governing(self, load: Array) -> Governing:
        """Name the ring and the mode that govern each point, by maximum strain.

        Parameters
        ----------
        load : ndarray, shape (n_x,)
            Curvature; 0 for points left out. [1/m]

        Returns
        -------
        governing : Governing
            Margins, rings and modes; nothing in the quadratic row. [-]
        """
        n_x = len(load)
        margin = np.full((3, n_x), np.inf)
        ring = np.full((3, n_x), -1, dtype=np.int64)
        mode = np.zeros((3, n_x), dtype=np.int64)
        crack = np.maximum(self.across, self.sheared)
        for row, use in ((FIBRE, self.fibre), (CRACK, crack)):
            flag = np.argmax(use, axis=0)
            most = use[flag, np.arange(n_x)] * np.abs(load)
            there = most > 0.0
            margin[row, there] = 1.0 / most[there] - 1.0
            ring[row, there] = flag[there]
            if row == FIBRE:
                pressed = self.is_pressed[flag]
                named = np.where(pressed, FIBRE_COMPRESSION, FIBRE_TENSION)
            else:
                at = np.arange(n_x)
                shears = self.sheared[flag, at] > self.across[flag, at]
                named = np.where(shears, SHEAR_MODE, TRANSVERSE_TENSION)
            mode[row, there] = named[there]
        return Governing(margin, ring, mode)


def exact_wall(
    design: Design, plies: dict[Sheet, Ply], layers: list[Layer], work: Work
) -> ExactWall:
    """Solve the wall of a shaft at points and brinks, each ply of a pair by itself.

    Parameters
    ----------
    design : Design
        The shaft. [SI]
    plies : dict of Sheet to Ply
        Cured ply of each of its sheets. [SI]
    layers : list of Layer
        Its flags before grinding. [SI]
    work : Work
        Scratch of its evaluation. [SI]

    Returns
    -------
    wall : ExactWall
        Stiffness and strains under unit curvature. [SI]
    """
    n_x = int(work.counts[0])
    on_brink = work.brink_flag[: int(work.counts[4])]
    finished = between(work, work.finished[:n_x])
    stiff: list[Array] = []
    inside: list[Array] = []
    outside: list[Array] = []
    owners: list[tuple[int, float]] = []
    for k, (flag, layer) in enumerate(zip(design.flags, layers, strict=True)):
        ply = plies[Sheet(flag.material, flag.angle, flag.is_pair)]
        C = solid_stiffness(ply.E1, ply.E2, ply.G12, ply.nu12)
        inner, outer = layer.r_in[None, :], layer.r_out[None, :]
        angles = [flag.angle]
        if flag.is_pair:
            inner, outer = alternating_plies(layer.r_in, layer.r_out, ply.thickness)
            angles = [flag.angle, -flag.angle] * (len(inner) // 2)
        turned = {angle: rotated_solid(C, angle) for angle in set(angles)}
        for row, angle in enumerate(angles):
            a, b = np.ones((2, n_x))
            a[layer.covered], b[layer.covered] = inner[row], outer[row]
            a, b = between(work, a), between(work, b)
            # nothing of it is left there, whatever lies over it; but where it goes from
            # whole to nothing within a cell the place is early, and it is still there
            gone = (on_brink == k) & (finished[n_x:] <= a[n_x:] * (1.0 + _ROUNDED))
            a[n_x:][gone] = b[n_x:][gone]
            a, b = np.minimum(a, finished), np.minimum(b, finished)
            stiff.append(turned[angle])
            inside.append(a)
            outside.append(b)
            owners.append((k, angle))
    r_in, r_out = np.array(inside), np.array(outside)
    section = _where_walled(np.array(stiff), r_in, r_out)
    there = r_out > r_in
    fibre, across, sheared = np.zeros((3, len(design.flags), len(finished)))
    is_pressed = np.zeros(len(design.flags), dtype=np.bool_)
    for row, (k, angle) in enumerate(owners):
        flag = design.flags[k]
        ply = plies[Sheet(flag.material, flag.angle, flag.is_pair)]
        weaker = min(ply.strain_tension, ply.strain_compression)
        is_pressed[k] = ply.strain_compression < ply.strain_tension
        strain = np.abs(in_ply_axes(section.bending[row], angle)).max(axis=1)
        strain = np.where(there[row][:, None], strain, 0.0)
        for p in _thin_at(k, layers[k], work):
            # plies are bonded: it is strained like the one that it lies on or under
            below = np.flatnonzero(there[:row, p])
            if len(below) > 0:
                beside = section.bending[below[-1], p, 1]
            else:
                beside = section.bending[row + np.argmax(there[row:, p]), p, 0]
            strain[p] = np.maximum(strain[p], np.abs(in_ply_axes(beside, angle)))
        fibre[k] = np.maximum(fibre[k], strain[:, _ALONG] / weaker)
        across[k] = np.maximum(across[k], strain[:, _ACROSS] / ply.strain_transverse)
        sheared[k] = np.maximum(sheared[k], strain[:, _SHEARED] / ply.strain_shear)
    return ExactWall(section, fibre, across, sheared, is_pressed)


def _where_walled(C: Array, r_in: Array, r_out: Array) -> ExactSection:
    """Section at all stations; nought in the trim, where all flags may have run out."""
    walled = np.any(r_out > r_in, axis=0)
    there = exact_section(C, r_in[:, walled], r_out[:, walled])
    bare = np.flatnonzero(~walled)
    before = bare - np.arange(len(bare))
    # stations are the second axis of strains
    return ExactSection(
        *(np.insert(v, before, 0.0, axis=min(v.ndim - 1, 1)) for v in there)
    )


def _thin_at(k: int, layer: Layer, work: Work) -> IntArray:
    """Points and brinks at which a flag comes to nothing."""
    n_x, n_brinks = int(work.counts[0]), int(work.counts[4])
    left = np.zeros(n_x + n_brinks)
    left[layer.covered] = (work.r_out - work.r_in)[k, layer.covered]
    left[n_x:] = (work.r_out - work.r_in)[k, n_x : n_x + n_brinks]
    return np.flatnonzero((left > 0.0) & (left < NOTHING))
