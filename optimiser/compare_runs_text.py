"""Two runs side by side as people read it: text, JSON values and a picture."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from model import METRIC, Metric
from optimiser.compare_runs import CORNER, RunComparison, Side, common_objectives
from optimiser.look import QUIET, SMALL_SIZE, dress, figure, save_png
from optimiser.review import trade_axes
from optimiser.store import Run
from optimiser.words import metric_heading, metric_unit, number


def runs_text(comparison: RunComparison) -> str:
    """Write a comparison of two runs for a terminal.

    Parameters
    ----------
    comparison : RunComparison
        Of two runs. [-]

    Returns
    -------
    text : str
        Lines. [-]
    """
    first, second = comparison.first, comparison.second
    rows = [("", "first run", "second run", "change")]
    rows.append(
        ("Designs", f"{first.n:,}", f"{second.n:,}", f"{second.n - first.n:+,}")
    )
    for key, sense in comparison.objectives:
        metric = METRIC[key]
        unit = metric_unit(metric, comparison.currency)
        word = "Lowest" if sense == "less" else "Highest"
        label = f"{word} {metric.phrase}" + (f" [{unit}]" if unit else "")
        before, now = first.best[key], second.best[key]
        rows.append(
            (
                label,
                number(before, metric.decimals),
                number(now, metric.decimals),
                _signed(now - before, metric),
            )
        )
    gain = comparison.gain
    rows.append(
        (
            "Hypervolume",
            f"{first.hypervolume:.4f}",
            f"{second.hypervolume:.4f}",
            "-" if gain is None else f"{gain:+.2%}",
        )
    )
    rows.append(
        (
            "Dominated by the other",
            f"{first.dominated:.1%}",
            f"{second.dominated:.1%}",
            "",
        )
    )
    widths = [max(len(row[k]) for row in rows) for k in range(4)]
    lines = [f"first run:  {first.folder}", f"second run: {second.folder}", ""]
    lines += [
        "  ".join(
            text.ljust(width) if k == 0 else text.rjust(width)
            for k, (text, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]
    lines += ["", *_anew_lines(comparison)]
    lines += ["", "What differs" if comparison.changes else "Nothing else differs."]
    lines += [f"  {change}" for change in comparison.changes]
    lines += [
        "",
        "Values are those each run wrote. Hypervolume: share of the box in what both "
        "trade,",
        f"both fronts together running from 0 to 1, up to {CORNER:g}.",
    ]
    return "\n".join(lines)


def _signed(change: float, metric: Metric) -> str:
    """Change of a value, its sign shown, no sign where it rounds to nothing."""
    text = number(change, metric.decimals)
    return f"+{text}" if change > 0.0 and float(text) != 0.0 else text


def _anew_lines(comparison: RunComparison) -> list[str]:
    """What has become of the first front."""
    first, anew = comparison.first, comparison.anew
    lines = [
        "The first front, measured as the second run measures:",
        f"  {anew.made:,} of {first.n:,} designs can be rolled with its library, "
        f"{anew.met:,} of them meet what it asks",
    ]
    if not anew.met:
        return lines
    bests = [
        f"{METRIC[key].phrase} {number(anew.best[key], METRIC[key].decimals)} "
        f"{metric_unit(METRIC[key], comparison.currency)}".strip()
        for key, _ in comparison.objectives
    ]
    lines.append(f"  best of these: {', '.join(bests)}")
    lines.append(
        f"  hypervolume {anew.hypervolume:.4f}, that of the second front "
        f"{anew.second_hypervolume:.4f}; it dominates {anew.dominated:.1%} of them"
    )
    return lines


def runs_json(comparison: RunComparison) -> dict[str, Any]:
    """Give a comparison of two runs as JSON values.

    Parameters
    ----------
    comparison : RunComparison
        Of two runs. [-]

    Returns
    -------
    data : dict
        Values in the units of the fronts' columns. [-]
    """

    def columns(best: Mapping[str, float]) -> dict[str, float]:
        return {METRIC[key].column: value for key, value in best.items()}

    def side(one: Side) -> dict[str, Any]:
        return {
            "folder": str(one.folder),
            "designs": one.n,
            "evaluations": one.evaluations,
            "best": columns(one.best),
            "hypervolume": one.hypervolume,
            "dominated_pct": one.dominated * 100.0,
        }

    anew = comparison.anew
    share = None if anew.dominated is None else anew.dominated * 100.0
    gain = comparison.gain
    return {
        "objectives": [
            {"metric": key, "sense": sense} for key, sense in comparison.objectives
        ],
        "currency": comparison.currency,
        "first": side(comparison.first),
        "second": side(comparison.second),
        "hypervolume_gain_pct": None if gain is None else gain * 100.0,
        "first_measured_anew": {
            "made": anew.made,
            "met": anew.met,
            "best": columns(anew.best),
            "hypervolume": anew.hypervolume,
            "second_hypervolume": anew.second_hypervolume,
            "dominated_pct": share,
        },
        "changes": list(comparison.changes),
    }


def write_fronts_picture(path: Path, first: Run, second: Run) -> Path:
    """Draw the fronts of two runs on one pair of axes.

    Parameters
    ----------
    path : Path
        File to write. [-]
    first, second : Run
        The runs. [-]

    Returns
    -------
    path : Path
        The same path. [-]
    """
    keys = [key for key, _ in common_objectives(first, second)]
    keys = list(dict.fromkeys([*keys, *trade_axes(second.spec)]))
    usual = [key for key in ("material_cost", "torque") if key in keys]
    across, up = (usual + [key for key in keys if key not in usual])[:2]
    page = figure(5.4)
    ax = page.subplots()
    # an open and a filled mark, apart in lightness too, for any eye and printer
    for run, name, marker, face, edge in (
        (first, "first", "o", "none", "#D98A00"),
        (second, "second", "s", "#155A8A", "white"),
    ):
        front = run.front
        ax.scatter(
            front[METRIC[across].column],
            front[METRIC[up].column],
            s=26 if len(front) < 600 else 11,
            marker=marker,
            facecolors=face,
            edgecolors=edge,
            linewidths=0.8 if face == "none" else 0.2,
            alpha=0.85,
            label=f"{name} run, {run.folder.name}: {len(front):,} designs",
            zorder=3 if name == "first" else 2,
        )
    currency = second.library.currency
    ax.set_xlabel(metric_heading(METRIC[across], currency))
    ax.set_ylabel(metric_heading(METRIC[up], currency))
    dress(ax)
    ax.legend(
        loc="lower center",
        bbox_to_anchor=(0.5, 1.0),
        ncols=2,
        frameon=False,
        fontsize=SMALL_SIZE,
        labelcolor=QUIET,
    )
    return save_png(page, path)
