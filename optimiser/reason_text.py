"""Why a search has found nothing: as text for people, and as files of its run."""

import json
from collections.abc import Callable

import numpy as np

from model import METRIC
from optimiser.files import write_text
from optimiser.reason import Explanation, Reached, explain
from optimiser.run_folder import EXPLANATION, EXPLANATION_JSON
from optimiser.state import State
from optimiser.store import Run

#: Less than this of a miss is none.
_NOTHING = 1e-9


def write_explanation(
    run: Run, found: State, is_over: Callable[[], bool]
) -> list[tuple[int, ...]]:
    """Find out why a run has no front, and keep it in its folder; else tidy up.

    Parameters
    ----------
    run : Run
        The run, at an end. [-]
    found : State
        What its search has found. [-]
    is_over : callable
        Asked now and then; True gives it up. [-]

    Returns
    -------
    genomes : list of tuple of int
        Designs that keep all that is asked, where some turned up in the trying; there
        is nothing to explain then. [-]
    """
    for name in (EXPLANATION, EXPLANATION_JSON):
        (run.folder / name).unlink(missing_ok=True)
    if found.archive.n or run.state != "done":
        return []
    population = found.living
    explanation = explain(
        run.spec,
        run.library,
        population.genomes[np.argsort(population.violation, kind="stable")],
        evaluations=found.progress.evaluations,
        is_over=is_over,
    )
    if explanation is None:
        return []
    if explanation.keeping:
        return list(explanation.keeping)
    values = explanation_json(explanation)
    text = json.dumps(values, indent=2, ensure_ascii=False, allow_nan=False)
    write_text(run.folder / EXPLANATION_JSON, text + "\n")
    write_text(run.folder / EXPLANATION, explanation_text(explanation) + "\n")
    return []


def explanation_json(explanation: Explanation) -> dict[str, object]:
    """An explanation as JSON values.

    Parameters
    ----------
    explanation : Explanation
        Any. [-]

    Returns
    -------
    values : dict
        With the units of the metrics as they are shown. [-]
    """

    def reached(one: Reached) -> dict[str, object]:
        scale = METRIC[one.band].scale if one.band in METRIC else 1.0
        return {
            "band": one.band,
            "asked": one.asked,
            "reached": one.reached,
            "value": one.value * scale,
            "beyond_in_tolerances": round(one.off, 4),
        }

    return {
        "spec": explanation.spec,
        "evaluations": explanation.evaluations,
        "anything_can_be_rolled": explanation.can_be_rolled,
        "end_diameters_can_be_built": explanation.can_be_built,
        "nearest_misses": list(explanation.nearest),
        "bands_in_conflict": [reached(one) for one in explanation.conflict],
        "bands_let_go_together": [reached(one) for one in explanation.together],
        "only_rules_are_missed": list(explanation.rules),
        "binding": [
            {
                "limit": one.what,
                "let_go": one.tried,
                "share_of_nearest": round(one.share, 3),
                "share_of_miss_left": round(one.left, 4),
            }
            for one in explanation.binding
        ],
    }


def _reached_text(one: Reached) -> str:
    return f"  {one.name}: asked {one.asked}, nearest that is reached {one.reached}"


def explanation_text(explanation: Explanation) -> str:
    """An explanation in words.

    Parameters
    ----------
    explanation : Explanation
        Any. [-]

    Returns
    -------
    text : str
        Lines. [-]
    """
    e = explanation
    lines = [f"why no design was found that keeps all that {e.spec} asks"]
    if not e.can_be_rolled:
        lines.append("nothing can be rolled of its places that keeps the rules")
    elif not e.can_be_built:
        lines.append(
            "nothing can be built to the end diameters that are asked; what follows "
            "lets them go"
        )
    is_open = not (e.conflict or e.together or e.rules)
    if e.nearest and (is_open or not e.can_be_built):
        so = "" if e.can_be_built else "so "
        lines.append(f"the nearest that was found {so}misses")
        lines += [f"  {words}" for words in e.nearest]
    if e.rules:
        lines.append("all bands are kept by the nearest design, but not the rules:")
        lines += [f"  {words}" for words in e.rules]
    if e.conflict:
        lines.append("in conflict, each let go by itself while all others are kept:")
        lines += [_reached_text(one) for one in e.conflict]
    elif e.together:
        lines.append(
            "no single band is enough to let go; with these let go together all others "
            "are kept:"
        )
        lines += [_reached_text(one) for one in e.together]
    elif e.rules:
        lines.append("no band was found that makes room for them when it is let go")
    else:
        lines.append("no band was found that frees the others when it is let go")
    if e.binding:
        lines.append("what stands in the way, let go one at a time:")
        for one in e.binding:
            left = "all bands are kept" if one.left <= _NOTHING else ""
            left = left or f"{one.left:.0%} of the miss is left"
            lines.append(
                f"  {one.what} ({one.share:.0%} of the nearest designs); "
                f"{one.tried}: {left}"
            )
    else:
        lines.append("no limit of a place or rule was found that stands in the way")
    lines.append(
        f"found by trying, in {e.evaluations:,} evaluations; a longer search may come "
        "nearer"
    )
    return "\n".join(lines)
