"""What a design's bench values will be, roughly, for the price of a few sums.

The outlook smears every flag over coarse cells, sums plane-stress rings and takes the
tests as weighted sums over the cells. It is off by a few per cent, but by nearly the
same for a design and for its child, so a child's value is foreseen as its own outlook
times what its parent's evaluation made of the parent's outlook. Nothing is judged by
it: it chooses what is worth a whole evaluation, and where ends are to go.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model import METRICS, Layups, compiled_lean_entry, fingerprint
from optimiser.cells import Cells
from optimiser.outlook_slopes import slopes_of_one
from optimiser.outlook_sums import (
    BUTT,
    CANTILEVER,
    COST,
    DURABILITY,
    FORESEEN_SHOP,
    FREQUENCY,
    MOMENT,
    N_FORESEEN,
    TIP,
    TORQUE,
    WEIGHT,
    Room,
    foresee_one,
    room,
)

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Foreseen:
    """Outlook of some designs."""

    log: Array  #: (n, 9 + n_ei) logarithms; NaN where a test does not fit
    shop: Array  #: (n, 4) in the order of FORESEEN_SHOP [m]
    slope: Array  #: (n, n_flag, 2, 9 + n_ei) of log to start and end of each flag [1/m]


#: A new edit of any module makes new machine code.
_SOURCES = fingerprint(Path(__file__).parent)


def _foresee_entry(sources: int) -> Any:
    @compiled_lean_entry
    def foresee_all(
        cells: Cells,
        layups: Layups,
        with_slopes: bool,
        room: Room,
        log: Array,
        shop: Array,
        slope: Array,
    ) -> None:
        _ = sources  # part of the key under which the machine code is kept
        for i in range(len(log)):
            foresee_one(cells, layups, i, room, log[i], shop[i])
            if with_slopes:
                slopes_of_one(cells, layups, i, room, log[i], slope[i])

    return foresee_all


_foresee_all = _foresee_entry(_SOURCES)


def foresee(cells: Cells, layups: Layups, *, slopes: bool = False) -> Foreseen:
    """Outlook of designs.

    Parameters
    ----------
    cells : Cells
        From ``cells.cells_of``. [SI]
    layups : Layups
        Designs of the same spec. [SI]
    slopes : bool
        Also give the derivatives to the flags' inner ends. [-]

    Returns
    -------
    foreseen : Foreseen
        Logarithms of the values, and their derivatives. [SI]
    """
    n, n_flags = layups.sheet.shape
    n_values = N_FORESEEN + cells.n_points
    log = np.zeros((n, n_values))
    shop = np.zeros((n, len(FORESEEN_SHOP)))
    slope = np.zeros((n if slopes else 0, n_flags, 2, n_values))
    if n:
        _foresee_all(cells, layups, slopes, room(cells, n_flags), log, shop, slope)
    return Foreseen(log, shop, slope)


_AT = {metric.key: i for i, metric in enumerate(METRICS)}
_SAME_AS = {
    WEIGHT: "weight",
    COST: "material_cost",
    FREQUENCY: "frequency",
    TORQUE: "torque",
    TIP: "tip_deflection",
    BUTT: "butt_deflection",
    CANTILEVER: "cantilever_deflection",
}


def evaluated(metrics: Array, EI_points: Array, length: Array) -> Array:
    """Evaluated values as an outlook gives them.

    Parameters
    ----------
    metrics : ndarray, shape (n, n_metric)
        In the order of METRICS. [SI]
    EI_points : ndarray, shape (n, n_ei)
        At the spec's points. [N·m²]
    length : ndarray, shape (n,)
        Of the shafts. [m]

    Returns
    -------
    log : ndarray, shape (n, 9 + n_ei)
        NaN where a test does not fit or was not asked for. [-]
    """
    values = np.empty((len(metrics), N_FORESEEN))
    for v, key in _SAME_AS.items():
        values[:, v] = metrics[:, _AT[key]]
    centre = length - metrics[:, _AT["balance_point"]]
    values[:, MOMENT] = metrics[:, _AT["weight"]] * centre
    # a margin is a ratio less one
    values[:, DURABILITY] = metrics[:, _AT["durability"]] + 1.0
    with np.errstate(invalid="ignore", divide="ignore"):
        log: Array = np.log(np.concatenate([values, EI_points], axis=1))
    return log
