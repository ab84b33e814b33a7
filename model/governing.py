"""The ply that governs: which ring fails first at each point, and how."""

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from model.compilation import SOURCES, compiled_entry
from model.failure import ply_margins
from model.shell import crush_loads
from model.strength import (
    AXIAL,
    AXIAL_PER_RADIUS,
    HOOP,
    HOOP_PER_RADIUS,
    SHEAR,
    SHEAR_PER_RADIUS,
)

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

#: Rows of what ``governing_plies`` gives.
FIBRE, CRACK, QUADRATIC = range(3)


class Rings(NamedTuple):
    """The rings of one shaft in rolling order, for naming the one that fails."""

    limits: Array  #: (n_ring, 17) rows of ``ply_limits`` [SI]
    angles: Array  #: (n_ring, 3) cos², sin² and cos·sin of the fibre angle [-]
    is_pair: BoolArray  #: (n_ring,)
    r_in: Array  #: (n_ring, n_x) [m]
    r_out: Array  #: (n_ring, n_x) [m]
    first: IntArray  #: (n_ring,) range of points covered [-]
    last: IntArray  #: (n_ring,)


class Governing(NamedTuple):
    """Least margins at each point and whose they are; rows FIBRE, CRACK, QUADRATIC."""

    margin: Array  #: (3, n_x); inf where nothing fails [-]
    ring: IntArray  #: (3, n_x) index in rolling order; -1 where nothing fails
    mode: IntArray  #: (3, n_x) index into MODES; of the quadratic one, its largest term


def _governing_entry(sources: int) -> Callable[..., None]:
    @compiled_entry
    def find(rings: Any, field: Array, free: Array, load: Array, found: Any) -> None:
        _ = sources  # part of the key under which the machine code is kept
        for k in range(len(rings.first)):
            c2, s2, cs = rings.angles[k]
            for p in range(rings.first[k], rings.last[k] + 1):
                r = rings.r_out[k, p]
                if r <= rings.r_in[k, p] or load[p] == 0.0:
                    continue
                margins = ply_margins(
                    rings.limits[k],
                    c2,
                    s2,
                    cs,
                    rings.is_pair[k],
                    load[p] * (field[AXIAL, p] + field[AXIAL_PER_RADIUS, p] * r),
                    load[p] * (field[HOOP, p] + field[HOOP_PER_RADIUS, p] * r),
                    load[p] * (field[SHEAR, p] + field[SHEAR_PER_RADIUS, p] * r),
                    free[0, p],
                    free[1, p],
                    free[2, p],
                )
                fibre, fibre_mode, crack, crack_mode, both, both_mode = margins
                pairs = ((fibre, fibre_mode), (crack, crack_mode), (both, both_mode))
                for row, (margin, mode) in enumerate(pairs):
                    if margin < found.margin[row, p]:
                        found.margin[row, p] = margin
                        found.ring[row, p] = k
                        found.mode[row, p] = mode

    return find


_find_governing = _governing_entry(SOURCES)


def governing_plies(
    rings: Rings, field: Array, load: Array, free: Array | None = None
) -> Governing:
    """Name the ring and the mode that govern each point; ties go to the first rolled.

    Parameters
    ----------
    rings : Rings
        The rings in rolling order. [SI]
    field : ndarray, shape (6, n_x)
        Strains under a unit load. [1/load]
    load : ndarray, shape (n_x,)
        Load at each point, such as curvature or torque; 0 for points left out. [load]
    free : ndarray, shape (3, n_x), or None
        Axial, hoop and shear strain of the wall from cooling. [-]

    Returns
    -------
    governing : Governing
        Margins, rings and modes at each point. [-]
    """
    n_x = len(load)
    found = Governing(
        np.full((3, n_x), np.inf),
        np.full((3, n_x), -1, dtype=np.int64),
        np.zeros((3, n_x), dtype=np.int64),
    )
    _find_governing(
        rings, field, np.zeros((3, n_x)) if free is None else free, load, found
    )
    return found


class Crushing(NamedTuple):
    """Load that fails the first ply of a ring cut at each point, and which ply."""

    load: Array  #: (n_x,) [N]
    ring: IntArray  #: (n_x,) index in rolling order; -1 where nothing fails
    mode: IntArray  #: (n_x,) index into ``strength.MODES``


def _crushing_entry(sources: int) -> Callable[..., None]:
    @compiled_entry
    def find(rings: Any, hoop: Array, free: Array, quadratic: bool, found: Any) -> None:
        _ = sources  # part of the key under which the machine code is kept
        for k in range(len(rings.first)):
            c2, s2, cs = rings.angles[k]
            for p in range(rings.first[k], rings.last[k] + 1):
                r_in, r_out = rings.r_in[k, p], rings.r_out[k, p]
                if r_out <= r_in:
                    continue
                fibre, mode, crack, crack_mode, both, both_mode = crush_loads(
                    rings.limits[k],
                    c2,
                    s2,
                    cs,
                    rings.is_pair[k],
                    hoop[:, p],
                    r_in,
                    r_out,
                    free[:, p],
                )
                load = fibre
                if crack < load:
                    load, mode = crack, crack_mode
                if quadratic:
                    load, mode = both, both_mode
                if load < found.load[p]:
                    found.load[p] = load
                    found.ring[p] = k
                    found.mode[p] = mode

    return find


_find_crushing = _crushing_entry(SOURCES)


def crushing_plies(
    rings: Rings, hoop: Array, *, free: Array | None = None, quadratic: bool = False
) -> Crushing:
    """Name the ply that fails first where a ring is cut and crushed.

    Parameters
    ----------
    rings : Rings
        The rings in rolling order; ties go to the first. [SI]
    hoop : ndarray, shape (8, n_x)
        Hoop table. [SI]
    free : ndarray, shape (3, n_x), or None
        Axial, hoop and shear strain of the wall from cooling. [-]
    quadratic : bool
        The quadratic criterion, else maximum strain. [-]

    Returns
    -------
    crushing : Crushing
        Load, ring and mode at each point. [N]
    """
    n_x = hoop.shape[1]
    found = Crushing(
        np.full(n_x, np.inf),
        np.full(n_x, -1, dtype=np.int64),
        np.zeros(n_x, dtype=np.int64),
    )
    _find_crushing(
        rings,
        hoop,
        np.zeros((3, n_x)) if free is None else free,
        quadratic,
        found,
    )
    return found
