"""Diameters of a genome's build at tip and butt, and a walk that brings them in band.

Cheap sums over the few flags that cover the ends; nothing is evaluated.
"""

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from model import compiled_lean
from optimiser.decoding import (
    GENES,
    HEAD,
    LENGTH,
    MANDREL,
    PRESENT,
    SAME,
    SET,
    SHEET,
    WRAPS,
    Tables,
    flag_end,
    flag_start,
)
from optimiser.genes import is_there, limit_wraps, pick, rise

IntArray = NDArray[np.int64]

_TRIES = 60


@compiled_lean
def _mandrel_at(genome: IntArray, t: Tables, station: float) -> float:
    mandrel = genome[MANDREL]
    s = station + t.mandrel_set[genome[SET]]
    j = 0
    while j < t.breaks[mandrel] - 2 and s > t.distance[mandrel, j + 1]:
        j += 1
    share = (s - t.distance[mandrel, j]) / (
        t.distance[mandrel, j + 1] - t.distance[mandrel, j]
    )
    span = t.radius[mandrel, j + 1] - t.radius[mandrel, j]
    return float(t.radius[mandrel, j] + share * span)


@compiled_lean
def _end_radii(genome: IntArray, t: Tables) -> tuple[float, float]:
    """Radius of the build at tip and butt."""
    length = t.length[genome[LENGTH]]
    tip = _mandrel_at(genome, t, 0.0)
    butt = _mandrel_at(genome, t, length)
    for place in range(len(t.optional)):
        if not is_there(genome, t, place):
            continue
        more = rise(genome, t, place)
        if flag_start(genome, t, place) <= SAME:
            tip += more * t.at_tip[place]
        if flag_end(genome, t, place) >= length - SAME:
            butt += more * t.at_butt[place]
    return tip, butt


@compiled_lean
def misfit(genome: IntArray, t: Tables) -> float:
    """How far the build at tip and butt lies outside its bands.

    Parameters
    ----------
    genome : ndarray, shape (n_genes,)
        Integers. [-]
    t : Tables
        Choices and bands. [-]

    Returns
    -------
    misfit : float
        Radius. [m]
    """
    tip, butt = _end_radii(genome, t)
    return float(
        max(t.tip_low - tip, tip - t.tip_high, 0.0)
        + max(t.butt_low - butt, butt - t.butt_high, 0.0)
    )


@compiled_lean
def fit_diameters(genome: IntArray, t: Tables, rng: Generator) -> bool:
    """Bring the build at tip and butt into its bands by cheap sums.

    Parameters
    ----------
    genome : ndarray, shape (n_genes,)
        Integers, changed in place. [-]
    t : Tables
        Choices and bands. [-]
    rng : Generator
        Source of randomness. [-]

    Returns
    -------
    fits : bool
        Whether both ends lie in their bands. [-]
    """
    short = misfit(genome, t)
    n_places = len(t.optional)
    length = t.length[genome[LENGTH]]
    tries = 0
    while short > 1e-9:
        if tries >= _TRIES:
            return False
        tries += 1
        if len(t.mandrel_set) > 1 and rng.random() < 0.15:
            gene = SET
            low = t.set_low[genome[LENGTH], genome[MANDREL]]
            high = t.set_high[genome[LENGTH], genome[MANDREL]]
            keep = genome[gene]
            genome[gene] = low + pick(rng, high - low + 1)
            wraps = SET
            keep_wraps = keep
        else:
            place = pick(rng, n_places)
            at_tip = flag_start(genome, t, place) <= SAME
            at_butt = flag_end(genome, t, place) >= length - SAME
            if not at_tip and not at_butt:
                continue
            base = HEAD + GENES * place
            wraps = base + WRAPS
            keep_wraps = genome[wraps]
            chance = rng.random()
            if t.optional[place] and (chance < 0.15 or not is_there(genome, t, place)):
                gene = base + PRESENT
                keep = genome[gene]
                genome[gene] = 1 - keep
            elif chance < 0.6:
                gene = base + WRAPS
                n = t.n_wraps[place]
                keep = genome[gene]
                step = 1 if rng.random() < 0.5 else -1
                if rng.random() < 0.25:
                    step *= 2
                genome[gene] = min(max(keep + step, 0), n - 1)
            else:
                gene = base + SHEET
                keep = genome[gene]
                genome[gene] = pick(rng, t.n_sheet[place])
            limit_wraps(genome, t, place)
        after = misfit(genome, t)
        # now and then a sideways step, so that the walk does not stick
        if after < short or (after == short and rng.random() < 0.3):
            short = after
        else:
            genome[wraps] = keep_wraps
            genome[gene] = keep
    return True
