"""Strains of every ply under a bending moment, and the margins they leave."""

import numpy as np
from numpy.typing import NDArray

from model.compilation import compiled

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@compiled
def envelope_moment(
    x: float,
    moment: float,
    tip_support: float,
    rise_end: float,
    fall_start: float,
    butt_support: float,
) -> float:
    """Bending moment that the shaft must bear at a station.

    Parameters
    ----------
    x : float
        Station. [m]
    moment : float
        Full moment, borne between the two inner stations. [N·m]
    tip_support, rise_end, fall_start, butt_support : float
        Stations where the moment leaves zero, is full, begins to fall, is zero. [m]

    Returns
    -------
    moment : float
        Required moment. [N·m]
    """
    rise = (x - tip_support) / (rise_end - tip_support)
    fall = (butt_support - x) / (butt_support - fall_start)
    return moment * max(0.0, min(1.0, rise, fall))


@compiled
def fibre_margins(
    c2: float,
    s2: float,
    cs: float,
    allowable: float,
    curvature: Array,
    hoop: Array,
    shear: Array,
    r_in: Array,
    r_out: Array,
    first: int,
    last: int,
    margin: Array,
) -> None:
    """Lower the margin of each station to that of one ring's fibres.

    Parameters
    ----------
    c2, s2, cs : float
        cos², sin² and cos·sin of the fibre angle. [-]
    allowable : float
        Least allowable fibre strain; both signs occur round the tube. [-]
    curvature : ndarray, shape (n_x_max,)
        Curvature under the required moment. [1/m]
    hoop, shear : ndarray, shape (n_x_max,)
        Hoop and shear strain under unit curvature. [m]
    r_in, r_out : ndarray, shape (n_x_max,)
        Radii of the ring; a ring without thickness has no fibre. [m]
    first, last : int
        Range of points that the ring covers. [-]
    margin : ndarray, shape (n_x_max,)
        Allowable over actual strain, inverted (the use), raised in place. [-]
    """
    share = 1.0 / allowable
    for p in range(first, last + 1):
        strain = c2 * r_out[p] + s2 * hoop[p] + cs * shear[p]
        use = abs(strain * curvature[p]) * share
        if r_out[p] <= r_in[p]:
            use = 0.0
        margin[p] = use if use > margin[p] else margin[p]


@compiled
def ply_strains(
    c2: float, s2: float, cs: float, axial: float, hoop: float, shear: float
) -> tuple[float, float, float]:
    """Strains in the ply's own axes.

    Parameters
    ----------
    c2, s2, cs : float
        cos², sin² and cos·sin of the fibre angle. [-]
    axial, hoop, shear : float
        Strains in the tube's axes. [-]

    Returns
    -------
    fibre, transverse, shear : float
        Strain along and across the fibres, and engineering shear strain. [-]
    """
    along = c2 * axial + s2 * hoop + cs * shear
    across = s2 * axial + c2 * hoop - cs * shear
    sheared = 2.0 * cs * (hoop - axial) + (c2 - s2) * shear
    return along, across, sheared
