"""Choosing a design of a run on the edit page: picks first, then all of them."""

from __future__ import annotations

import math
from typing import Any

from model import METRIC
from optimiser.review import suggest
from optimiser.run_folder import EXPLANATION
from optimiser.store import Run
from optimiser.terminal import command_text
from optimiser.words import metric_heading


def choices_of(
    run: Run, currency: str
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """List the designs of a run, and the metrics that they are chosen by.

    Parameters
    ----------
    run : Run
        Any run. [-]
    currency : str
        Of its library. [-]

    Returns
    -------
    columns, designs : list of dict, list of dict
        Headings of what the spec asks; the designs, suggested ones first with the
        reasons. [unit of the heading]
    """
    front, spec = run.front, run.spec
    metrics = [METRIC[t.metric] for t in spec.targets]
    metrics = [metric for metric in metrics if metric.column in front]
    trades = {target.metric: target.trade for target in spec.targets}
    columns = [
        {
            "label": metric_heading(metric, currency),
            "decimals": metric.decimals,
            "better": trades[metric.key] or metric.better,
            "is_traded": trades[metric.key] is not None,
        }
        for metric in metrics
    ]
    picks = suggest(front, spec, currency) if len(front) else []
    rank = {pick.design_id: i for i, pick in reversed(list(enumerate(picks)))}
    designs = [
        {
            "id": str(row["id"]),
            "picks": [
                {"title": pick.title, "reason": pick.reason}
                for pick in picks
                if pick.design_id == str(row["id"])
            ],
            "values": [_number(float(row[metric.column])) for metric in metrics],
        }
        for row in front.to_dict("records")
    ]
    designs.sort(key=lambda design: rank.get(str(design["id"]), len(picks)))
    return columns, designs


def none_found(run: Run) -> str:
    """Say why there is no design of a run to choose.

    Parameters
    ----------
    run : Run
        A run with an empty front. [-]

    Returns
    -------
    text : str
        Why, and what can be done. [-]
    """
    text = (
        "This run has found no design that keeps every band and rule of its spec, so "
        "there is none to change here."
    )
    if (run.folder / EXPLANATION).exists():
        text += f" What stands in the way is said in {EXPLANATION} in the run's folder."
    return f"{text} A design file is opened with: {command_text('open', 'FILE.toml')}"


def _number(value: float) -> float | None:
    return float(f"{value:.7g}") if math.isfinite(value) else None
