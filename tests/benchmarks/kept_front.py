"""Best known fronts of the packaged scenarios, kept as text.

``best_known/<scenario>.csv`` holds one design a row: its genome (indices of the spec's
choices) and its objectives. Comments above say what it belongs to. Whatever is merged
into it is evaluated again with today's physics, and it is only ever replaced by a front
of more hypervolume.
"""

import fcntl
import hashlib
import io
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import moocore
import numpy as np
import pandas as pd

from model import METRICS
from optimiser.decoding import GENES, HEAD
from optimiser.encoding import encode
from optimiser.files import write_text
from optimiser.problem import Demand, ShaftProblem
from optimiser.spec_file import read_spec
from tests.shop_rules import broken, can_be_evaluated

SCENARIOS = Path(__file__).parents[2] / "scenarios"
FOLDER = Path(__file__).parent / "best_known"
#: Designs kept of a scenario at most.
MOST = 3000
#: Objectives of a kept design agree with today's physics to this share.
SAME = 1e-9
_HEAD_NAMES = ("length", "mandrel", "mandrel_set")
_GENE_NAMES = ("present", "sheet", "start", "end", "wraps", "rank")


class RefusedError(Exception):
    """Why a kept front is not read, or not written."""


def scenario_names():
    return sorted(path.parent.name for path in SCENARIOS.glob("*/spec.toml"))


def load(scenario, library):
    """Encoding of a packaged scenario."""
    return encode(
        read_spec(SCENARIOS / scenario / "spec.toml", library),
        library,
    )


def choices_hash(encoding):
    """Hash of everything that a genome's numbers point to."""
    spec, t = encoding.spec, encoding.tables
    lists = [sorted(spec.lengths), list(spec.mandrels), sorted(spec.mandrel_sets)]
    text = repr(
        [
            [repr(x) if isinstance(x, str) else f"{x:.9g}" for x in lists[i]]
            for i in range(3)
        ]
    )
    for i, place in enumerate(spec.places):
        sheets = [f"{s.material} {s.angle:.9g} {s.is_pair}" for s in place.sheets]
        numbers = [
            [f"{x:.9g}" for x in row]
            for row in (
                t.start[i, : t.n_start[i]],
                t.end[i, : t.n_end[i]],
                t.wraps[i, : t.n_wraps[i]],
                (place.run_out_tip, place.run_out_butt),
            )
        ]
        text += repr([place.name, sheets, numbers, place.optional])
    text += repr(spec.rules.reorder)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def gene_names(encoding):
    names = list(_HEAD_NAMES)
    for i in range(len(encoding.spec.places)):
        names += [f"{i + 1}_{gene}" for gene in _GENE_NAMES]
    assert len(names) == HEAD + GENES * len(encoding.spec.places)
    return names


def corner(encoding):
    """Reference point of the hypervolume: the spec's bounds on the objectives."""
    worst = Demand.of(encoding.spec).worst()
    if not np.isfinite(worst).all():
        raise RefusedError("an objective of the spec has no bound to measure from")
    return worst


def hypervolume(F, reference):
    F = np.asarray(F, dtype=float)
    return float(moocore.hypervolume(F, ref=reference)) if len(F) else 0.0


def thinned(F, reference, most):
    """Indices of at most so many designs, dropping those that contribute least."""
    index = np.arange(len(F))
    while len(index) > most:
        share = moocore.hv_contributions(F[index], ref=reference)
        share[np.argmin(F[index], axis=0)] = np.inf
        drop = max(1, (len(index) - most) // 4)
        index = index[np.sort(np.argsort(share, kind="stable")[drop:])]
    return index


@dataclass
class Front:
    """Designs of a kept front."""

    genomes: np.ndarray
    F: np.ndarray  #: objectives in SI, all to be small

    @property
    def n(self):
        return len(self.genomes)

    def take(self, index):
        return Front(self.genomes[index], self.F[index])


def nothing(encoding):
    n_objectives = len(Demand.of(encoding.spec).objective)
    return Front(
        np.zeros((0, encoding.n_genes), dtype=np.int64), np.zeros((0, n_objectives))
    )


def assess(encoding, genomes):
    """Those of some genomes that the shop can roll and the spec allows, with F."""
    genomes = np.asarray(genomes, dtype=np.int64).reshape(-1, encoding.n_genes)
    inside = ((genomes >= 0) & (genomes < encoding.n_choices)).all(axis=1)
    genomes = genomes[inside]
    if len(genomes) == 0:
        return nothing(encoding)
    genomes = genomes[can_be_evaluated(encoding, genomes)]
    genomes = genomes[(broken(encoding, genomes) == 0.0).all(axis=1)]
    if len(genomes) == 0:
        return nothing(encoding)
    _, scores = ShaftProblem(encoding).evaluate_genomes(genomes)
    good = scores.violation <= 0.0
    return Front(genomes[good], scores.F[good])


def nondominated(front):
    keep = moocore.is_nondominated(front.F, keep_weakly=False)
    return front.take(np.flatnonzero(keep))


# ------------------------------------------------------------------------- files


def _path(scenario, folder):
    return Path(folder) / f"{scenario}.csv"


def read(scenario, encoding, folder=FOLDER):
    """The front kept of a scenario, with the objectives as they stand in the file."""
    path = _path(scenario, folder)
    if not path.exists():
        return nothing(encoding)
    text = path.read_text(encoding="utf-8")
    notes = dict(
        line[1:].split(":", 1)
        for line in text.splitlines()
        if line.startswith("#") and ":" in line
    )
    kept = notes.get(" choices", "").strip()
    if kept != choices_hash(encoding):
        raise RefusedError(
            f"{path.name} belongs to other choices ({kept or 'none named'}) than the "
            f"spec now gives ({choices_hash(encoding)}): its genomes mean other "
            "designs. Restore the spec, or remove the file and search anew."
        )
    table = pd.read_csv(io.StringIO(text), comment="#")
    genes = gene_names(encoding)
    columns = _objective_columns(encoding)
    missing = [name for name in (*genes, *columns) if name not in table.columns]
    if missing:
        raise RefusedError(f"{path.name} has no column {', '.join(missing)}")
    return Front(
        table[genes].to_numpy(np.int64),
        _unshown(encoding, table[list(columns)].to_numpy(float)),
    )


def _objective_columns(encoding):
    """Column of each objective, with the shown value over the SI value."""
    objective = Demand.of(encoding.spec).objective
    return {METRICS[i].column: METRICS[i].scale for i in objective}


def _shown(encoding, F):
    """Objectives as texts in the units of the file."""
    sense = Demand.of(encoding.spec).sense
    scales = list(_objective_columns(encoding).values())
    return [[f"{x:.12g}" for x in row] for row in F * sense * scales]


def _unshown(encoding, shown):
    sense = Demand.of(encoding.spec).sense
    scales = np.array(list(_objective_columns(encoding).values()))
    return np.asarray(shown, dtype=float).reshape(-1, len(sense)) / scales * sense


def rounded(encoding, F):
    """Objectives as a file keeps them, so that those apart by the last bit are one."""
    return _unshown(encoding, _shown(encoding, F))


def write(scenario, encoding, front, folder=FOLDER, what="", notes=()):
    """Write a front as the kept one of a scenario, whatever was kept before."""
    if not what:
        what = f"best known front of the scenario {scenario}"
        command = "python tests/benchmarks/quality.py extend --scenario"
        notes = [f"bettered by: {command} {scenario}", *notes]
    front = front.take(np.lexsort(front.F.T[::-1]))
    table = pd.DataFrame(front.genomes, columns=gene_names(encoding))
    table[list(_objective_columns(encoding))] = _shown(encoding, front.F)
    reference = corner(encoding)
    head = (
        f"# {what}\n"
        f"# choices: {choices_hash(encoding)}\n"
        f"# designs: {front.n}\n"
        f"# hypervolume: {hypervolume(front.F, reference):.12g}\n"
    )
    head += "".join(f"# {note}\n" for note in notes)
    text = table.to_csv(index=False, lineterminator="\n")
    write_text(_path(scenario, folder), head + text)


@contextmanager
def _held(folder):
    """Wait for other processes that merge into the same folder."""
    Path(folder).mkdir(parents=True, exist_ok=True)
    with (Path(folder) / ".lock").open("a") as handle:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield


@dataclass(frozen=True)
class Merged:
    """What a merge did."""

    before: float  #: hypervolume
    after: float
    n: int  #: designs kept now
    fresh: int  #: of them new
    moved: int  #: kept before, and other or gone with today's physics

    def __str__(self):
        text = (
            f"{self.n} designs kept, {self.fresh} of them new, hypervolume "
            f"{self.after:.6g}"
        )
        if self.before > 0.0:
            text += f" ({100.0 * (self.after / self.before - 1.0):+.4f} %)"
        return text


def merge(scenario, encoding, genomes, *, folder=FOLDER, most=MOST, renew=False):
    """Merge designs into the kept front of a scenario.

    All designs, those kept and those that come, are evaluated with today's physics.
    Where that changes a kept design, the front is only written if ``renew`` is given.
    """
    reference = corner(encoding)
    with _held(folder):
        kept = read(scenario, encoding, folder)
        before = hypervolume(kept.F, reference)
        today = assess(encoding, kept.genomes)
        is_same = today.n == kept.n and np.allclose(
            today.F, kept.F, rtol=SAME, atol=1e-12
        )
        moved = 0 if is_same else _n_moved(kept, today)
        if moved and not renew:
            raise RefusedError(
                f"{moved} of the {kept.n} designs kept of {scenario} measure "
                "otherwise with today's physics. If that is meant, --renew writes "
                "the front anew."
            )
        found = assess(encoding, genomes)
        # the kept ones first: of equals the first stays
        both = Front(
            np.concatenate([today.genomes, found.genomes]),
            np.concatenate([today.F, found.F]),
        )
        both.F = rounded(encoding, both.F)
        front = nondominated(both)
        front = front.take(thinned(front.F, reference, most))
        after = hypervolume(front.F, reference)
        if not moved and after <= before * (1.0 + 1e-12):
            return Merged(before, before, kept.n, 0, 0)
        known = {row.tobytes() for row in kept.genomes}
        fresh = sum(row.tobytes() not in known for row in front.genomes)
        write(scenario, encoding, front, folder)
        return Merged(before, after, front.n, fresh, moved)


def _n_moved(kept, today):
    measured = {row.tobytes(): F for row, F in zip(today.genomes, today.F, strict=True)}
    moved = 0
    for row, F in zip(kept.genomes, kept.F, strict=True):
        other = measured.get(row.tobytes())
        moved += other is None or not np.allclose(F, other, rtol=SAME, atol=1e-12)
    return moved
