"""The shop's rules of construction, counted plainly on decoded designs.

The search meets these rules by construction; here they are counted again by other
means, from the stations of the flags, so that a design can be judged whoever made it.
"""

import numpy as np

#: Columns of ``broken``.
RULES = (
    "mandrel_set",
    "flag_length_min",
    "end_spacing_min",
    "outer_straight",
    "materials_max",
    "turns_max",
    "single_angle",
    "reorder",
)
_SAME = 1e-9


def broken(encoding, genomes):
    """How far each genome breaks each rule, (n, n_rule); nothing above 0 keeps it.

    Lengths count in steps of 10 mm, the rest in whole numbers.
    """
    spec, rules = encoding.spec, encoding.spec.rules
    layups, place = encoding.decode(genomes)
    n = len(genomes)
    there = layups.sheet >= 0
    start, end = layups.start, layups.end
    length = layups.length[:, None]
    out = np.zeros((n, len(RULES)))

    full = np.array([m.distance[-1] for m in encoding.conditions.mandrels])
    over = layups.mandrel_set + layups.length + spec.trim_butt - full[layups.mandrel]
    short = np.maximum(over, spec.trim_tip - layups.mandrel_set)
    out[:, 0] = np.maximum(short - _SAME, 0.0) / 0.010

    run_outs = layups.run_out_tip + layups.run_out_butt
    least = np.maximum(rules.flag_length_min, run_outs)
    missing = np.where(there, np.maximum(least - (end - start) - _SAME, 0.0), 0.0)
    out[:, 1] = missing.sum(axis=1) / 0.010

    ends = np.concatenate([start, end], axis=1)
    both = np.concatenate([there, there], axis=1)
    inner = both & (ends > _SAME) & (ends < length - _SAME)
    stations = np.sort(np.where(inner, ends, np.inf), axis=1)
    with np.errstate(invalid="ignore"):
        gaps = np.diff(stations, axis=1)
    gaps = np.where(np.isfinite(gaps), gaps, np.inf)
    near = np.maximum(rules.end_spacing_min - gaps - _SAME, 0.0)
    out[:, 2] = near.sum(axis=1) / 0.010

    sheets = encoding.conditions.sheets
    angle = np.array([s.angle for s in sheets])[layups.sheet]
    is_pair = np.array([s.is_pair for s in sheets])[layups.sheet]
    if rules.outer_straight:
        is_full = there & (start < _SAME) & (end > length - _SAME)
        last = np.where(is_full, np.arange(there.shape[1]), -1).max(axis=1)
        rows = np.arange(n)
        straight = (last >= 0) & ~is_pair[rows, last]
        out[:, 3] = ~(straight & (np.abs(angle[rows, last]) < _SAME))

    names = sorted({s.material for s in sheets})
    material = np.array([names.index(s.material) for s in sheets])[layups.sheet]
    used = np.zeros((n, len(names)), dtype=bool)
    for k in range(there.shape[1]):
        used[np.flatnonzero(there[:, k]), material[there[:, k], k]] = True
    out[:, 4] = np.maximum(used.sum(axis=1) - rules.materials_max, 0)

    out[:, 5] = (there & (layups.wraps > rules.turns_max + _SAME)).sum(axis=1)
    if not rules.single_angle:
        square = np.abs(np.sin(2.0 * angle)) < _SAME
        out[:, 6] = (there & ~is_pair & ~square).sum(axis=1)
    if not rules.reorder:
        falls = (np.diff(place, axis=1) < 0) & (place[:, 1:] >= 0)
        out[:, 7] = falls.sum(axis=1)
    return out


def can_be_evaluated(encoding, genomes):
    """Whether each genome is a shaft at all: flags with a length, on its mandrel."""
    layups, _ = encoding.decode(genomes)
    there = layups.sheet >= 0
    run_outs = layups.run_out_tip + layups.run_out_butt
    gap = layups.end - layups.start
    long = ~there | ((gap > 1e-6) & (gap >= run_outs - _SAME))
    fits = broken(encoding, genomes)[:, 0] == 0.0
    return there.any(axis=1) & long.all(axis=1) & fits
