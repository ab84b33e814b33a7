"""The front of a run as files: a table, and a design file for each of its rows."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import moocore
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model import (
    METRICS,
    SECTION_DIFFERENCE,
    Design,
    InputError,
    ModelRangeError,
    Report,
    angle_text,
    design_from_text,
    design_id,
    design_to_text,
    evaluate,
)
from optimiser.encoding import Encoding
from optimiser.files import write_table, write_text
from optimiser.run_folder import DESIGNS, EXACT, FRONT, LIBRARY
from optimiser.state import State
from optimiser.store import Run
from optimiser.words import ei_column

#: Column of the largest difference between the fast and the exact section.
SECTION = "section_difference_pct"
#: A design evaluated by itself and in its batch may differ by so much. [-]
SAME_NUMBER = 1e-9
#: Digits to which objectives are told apart on the front.
_DIGITS = 9

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


def write_front(
    run: Run,
    state: State,
    encoding: Encoding,
    on_design: Callable[[int, int], None] = lambda _done, _total: None,
) -> None:
    """Write the designs of the archive, and the table of them.

    Each design that is new is read back from its own text and evaluated by itself; one
    whose numbers are not those of the search is left out, and counted in run.json.

    Parameters
    ----------
    run : Run
        The run; what is found is noted in what it says about itself. [-]
    state : State
        The search's state. [-]
    encoding : Encoding
        Turns genomes into designs. [-]
    on_design : callable
        Called with how many are done, and how many there are. [-]
    """
    archive = state.archive.take(_apart(state.archive.F))
    order = np.argsort(archive.F[:, 0], kind="stable")
    points = run.spec.ei_targets
    metrics, EI = encoding.measure(archive.genomes)
    # what the search measured stands, so that it is what is checked
    metrics = np.where(np.isnan(archive.metrics), metrics, archive.metrics)
    known = run.designs
    checked, exact = _written(run)
    rows: dict[str, dict[str, Any]] = {}
    left_out = []
    for done, i in enumerate(order):
        on_design(done, len(order))
        design = encoding.design(archive.genomes[i], run.spec.name)
        identity, text = design_file(design, run, f"../{LIBRARY}")
        if not (identity in known and identity in checked and identity in exact):
            report = _measured_so(text, run, identity, metrics[i])
            if report is None:
                left_out.append(identity)
                continue
            checked[identity] = float(f"{report.section.worst * 100.0:.6g}")
            exact[identity] = {"id": identity, **_exact_values(report)}
            write_text(run.folder / DESIGNS / f"{identity}.toml", text)
        row: dict[str, Any] = {"id": identity}
        for metric, value in zip(METRICS, metrics[i], strict=True):
            row[metric.column] = float(f"{value * metric.scale:.12g}")
        for point, value in zip(points, EI[i], strict=True):
            row[ei_column(point.station)] = float(f"{value:.12g}")
        row[SECTION] = checked[identity]
        row["mandrel"] = design.shaft.mandrel
        row["mandrel_set_mm"] = round(design.shaft.mandrel_set * 1e3, 4)
        row["flags"] = compact_flags(design)
        rows[identity] = row
    on_design(len(order), len(order))
    # in this order the table never names a design that is not there
    if rows:
        table = pd.DataFrame([exact[identity] for identity in rows])
        write_table(run.folder / EXACT, table)
        write_table(run.folder / FRONT, pd.DataFrame(list(rows.values())))
    else:
        (run.folder / FRONT).unlink(missing_ok=True)
        (run.folder / EXACT).unlink(missing_ok=True)
    for identity, path in known.items():
        if identity not in rows:
            path.unlink()
    run.about["designs"] = len(rows)
    run.about.pop("left_out", None)
    if left_out:
        run.about["left_out"] = left_out
    limit = SECTION_DIFFERENCE * 100.0
    run.about["section_above"] = sum(row[SECTION] > limit for row in rows.values())


def _apart(F: Array) -> IntArray:
    """Designs that none betters, but for rounding.

    An archive keeps what is better in the last digit of one objective, however much
    worse it is in the others.
    """
    size = np.abs(F).max(axis=0, initial=0.0)
    rounded = np.round(F / np.where(size > 0.0, size, 1.0), _DIGITS)
    return np.flatnonzero(moocore.is_nondominated(rounded, keep_weakly=True))


def _written(run: Run) -> tuple[dict[str, float], dict[str, dict[str, Any]]]:
    """What the tables hold of designs that were checked, by id; nothing if damaged."""
    try:
        before, kept = run.front, run.exact
    except InputError:
        return {}, {}  # both are written anew, and every design is checked again
    if SECTION not in before:
        return {}, {}
    checked = dict(zip(before["id"], before[SECTION], strict=True))
    exact: dict[str, dict[str, Any]] = {
        str(row["id"]): {str(key): value for key, value in row.items()}
        for row in kept.to_dict(orient="records")
    }
    return checked, exact


def _exact_values(report: Report) -> dict[str, float | None]:
    """Metrics with the exact section, by column."""
    values: dict[str, float | None] = {}
    for metric in METRICS:
        value = report.section.metrics[metric.key]
        values[metric.column] = (
            None if value is None else float(f"{value * metric.scale:.9g}")
        )
    return values


def design_file(design: Design, run: Run, library: str) -> tuple[str, str]:
    """Id and text of a design as it stands in a run folder.

    Parameters
    ----------
    design : Design
        A design of the run. [SI]
    run : Run
        The run. [-]
    library : str
        Its frozen library, from where the file is. [-]

    Returns
    -------
    identity, text : str, str
        The text evaluates by itself. [-]
    """
    identity = design_id(design, run.library)
    design = replace(design, name=f"{run.spec.name} {identity}", library=library)
    return identity, design_to_text(design)


def _measured_so(
    text: str, run: Run, identity: str, metrics: Sequence[float]
) -> Report | None:
    """Report of a design file, if it alone gives the id and numbers it stands for."""
    try:
        report = evaluate(design_from_text(text, identity, run.library), run.library)
    except (InputError, ModelRangeError):
        return None
    alone = [report.metrics[metric.key] for metric in METRICS]
    is_so = report.design_id == identity and np.allclose(
        [np.nan if value is None else value for value in alone],
        metrics,
        rtol=SAME_NUMBER,
        atol=0.0,
        equal_nan=True,
    )
    return report if is_so else None


def compact_flags(design: Design) -> str:
    """Flags of a design in one readable line.

    Parameters
    ----------
    design : Design
        Any design. [SI]

    Returns
    -------
    text : str
        In rolling order, "material angle start-end x wraps" each. [mm]
    """
    return "; ".join(
        f"{flag.material} {angle_text(flag.angle, is_pair=flag.is_pair)} "
        f"{flag.start * 1e3:g}-{flag.end * 1e3:g} x{flag.wraps:g}"
        for flag in design.flags
    )
