"""Profiles of many shafts at a few stations, to be looked at side by side."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.batch import evaluate_batch
from model.conditions import Conditions, Layups, layups_of
from model.design import Design
from model.library import Library
from model.scratch import Work, workspace
from model.strength import envelope_moment

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Profiles:
    """Designs along their length, design axis first."""

    share: Array  #: (n_station,) stations over the length of the shaft [-]
    length: Array  #: (n,) finished length [m]
    EI: Array  #: (n, n_station) [N·m²]
    GJ: Array  #: [N·m²]
    margin: Array  #: least durability margin about the station; inf: no moment [-]


def profiles_of(
    designs: Sequence[Design], library: Library, share: Sequence[float]
) -> Profiles:
    """Sample the profiles of designs that are made and tested alike.

    A stiffness is that at the station. A margin is the least between the middles of the
    gaps to the neighbouring stations, so that no weak place falls between two.

    Parameters
    ----------
    designs : sequence of Design
        With the same finish, bench, cutting and trims. [SI]
    library : Library
        Their materials and mandrels. [-]
    share : sequence of float
        Stations over the length of the shaft, rising from 0 to 1. [-]

    Returns
    -------
    profiles : Profiles
        Sampled with the fast section. [SI]

    Raises
    ------
    ModelRangeError
        If the designs are not made and tested alike.
    """
    stations = np.asarray(share, dtype=np.float64)
    n, n_station = len(designs), len(stations)
    EI, GJ, margin = (np.full((n, n_station), np.nan) for _ in range(3))
    if n:
        # what a curvature leaves to bear is computed for this metric
        shared = Conditions.for_designs(
            library, designs, wanted=frozenset({"durability"})
        )
        layups = layups_of(designs, shared)
        longest = float(layups.length.max())
        work = workspace(shared, layups.sheet.shape[1], longest)
    for i, design in enumerate(designs):
        one = Layups(*(values[i : i + 1] for values in layups))  # type: ignore[arg-type]
        evaluate_batch(one, shared, work=work)
        x = stations * design.shaft.length
        EI[i], GJ[i], margin[i] = _sampled(work, design, x)
    return Profiles(
        share=stations,
        length=np.array([design.shaft.length for design in designs]),
        EI=EI,
        GJ=GJ,
        margin=margin,
    )


def _sampled(work: Work, design: Design, at: Array) -> tuple[Array, Array, Array]:
    """EI, GJ and margin at stations of the design that was evaluated last."""
    tip, butt = int(work.counts[1]), int(work.counts[2])
    x = work.x[tip : butt + 1]
    EI, GJ = work.EI[tip : butt + 1], work.GJ[tip : butt + 1]
    bench, length = design.bench, design.shaft.length
    moment = np.array(
        [
            envelope_moment(
                station,
                bench.strength_moment,
                bench.strength_tip_support,
                bench.strength_from,
                length - bench.strength_to,
                length - bench.strength_butt_support,
            )
            for station in x
        ]
    )
    used = work.use[tip : butt + 1] * moment / EI
    edges = np.concatenate([[x[0]], 0.5 * (at[1:] + at[:-1]), [x[-1]]])
    # a point on the middle of a gap counts on either side of it
    first = np.searchsorted(x, edges[:-1], side="left")
    last = np.searchsorted(x, edges[1:], side="right")
    ends = np.interp(edges, x, used)
    most = np.maximum(ends[1:], ends[:-1])
    for k, (a, b) in enumerate(zip(first, last, strict=True)):
        if b > a:
            most[k] = max(most[k], used[a:b].max())
    with np.errstate(divide="ignore"):
        margin = np.where(most > 0.0, 1.0 / most - 1.0, np.inf)
    return np.interp(at, x, EI), np.interp(at, x, GJ), margin
