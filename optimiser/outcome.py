"""What a search has found, said at the terminal."""

import json
from typing import Any

from optimiser.review import front_table, suggest, suggested, table_text
from optimiser.run_folder import EXPLANATION, EXPLANATION_JSON, FRONT, NEAREST
from optimiser.store import Run
from optimiser.terminal import command_text, say, say_error, say_json

DONE, FAILED, BAD_INPUT, INTERRUPTED = 0, 1, 2, 130


def say_idle(run: Run, workers: int | None) -> None:
    """Say which workers had nothing to do.

    Parameters
    ----------
    run : Run
        The run. [-]
    workers : int or None
        How many were asked for. [-]
    """
    n = run.spec.search.islands
    if workers is not None and workers > n:
        say_error(
            f"--workers {workers}: of these {n} had something to do, since the search "
            f"has {n} island{'' if n == 1 else 's'}; more come with --islands, which "
            "makes it another search"
        )


def finish(run: Run, *, as_json: bool) -> int:
    """Say what a search found.

    Parameters
    ----------
    run : Run
        The run, at an end. [-]
    as_json : bool
        As JSON on standard output. [-]

    Returns
    -------
    status : int
        That of the command. [-]
    """
    front = run.front
    if as_json:
        say_json(about_run(run))
    elif not front.empty:
        say_found(run)
        say_picks(run)
        say(f"look at them:    {command_text('review', run.folder)}")
        say(f"shift them 2 mm: {command_text('nudge', run.folder)}")
    if front.empty:
        explain_nothing(run)
    elif run.about["exhausted"]:
        say_error(
            "stopped before its budget was spent: no design comes any more that was "
            "not seen before"
        )
    elif run.about["stopped_by"] == "stalled":
        budget = run.budget
        say_error(
            f"stopped since the hypervolume rose by less than {budget.stall:.4g} of "
            f"itself over the last {budget.stall_evaluations:,} evaluations; go on all "
            f"the same with:  {command_text('resume', run.folder, '--stall', '0 %')}"
        )
    if run.about.get("found_late"):
        say_error(
            "its search had found none; what there is turned up in the trying for a "
            "reason. Search longer with:  "
            + command_text("resume", run.folder, "--evaluations", _longer(run))
        )
    if "left_out" in run.about:
        say_error(
            f"{len(run.about['left_out'])} designs are left out: evaluated one by one "
            "they gave other numbers than in the search, which is a fault of this "
            "program"
        )
    if run.about.get("section_above"):
        say_error(
            f"{run.about['section_above']} designs have a fast section more than 1 % "
            "from the exact one, see section_difference_pct in front.csv; look at such "
            "a design with  plyfront evaluate --exact"
        )
    if run.state == "interrupted":
        if run.about["stopped_by"] != "request":
            say_error(f"stopped: {run.about['stopped_by']}")
            say_error(
                f"nothing is lost; go on with:  {command_text('resume', run.folder)}"
            )
            return FAILED
        say_error(f"interrupted; go on with:  {command_text('resume', run.folder)}")
        return INTERRUPTED
    return FAILED if front.empty else DONE


def _longer(run: Run) -> str:
    """Evaluations that give a search ten times what it had."""
    return str(10 * int(run.about["evaluations"]))


def about_run(run: Run) -> dict[str, Any]:
    """Everything about a run, as JSON values.

    Parameters
    ----------
    run : Run
        The run. [-]

    Returns
    -------
    values : dict
        What run.json holds, with the front, or why there is none. [-]
    """
    front = json.loads(run.front.to_json(orient="records", double_precision=15))
    values = {**run.about, "folder": str(run.folder), "front": front}
    path = run.folder / EXPLANATION_JSON
    if path.exists():
        values["explanation"] = json.loads(path.read_text(encoding="utf-8"))
    return values


def say_found(run: Run) -> None:
    """Say how many designs a run has.

    Parameters
    ----------
    run : Run
        The run, at an end. [-]
    """
    about = run.about
    say(
        f"{len(run.front):,} designs on the front after {about['evaluations']:,} "
        f"evaluations in {about['seconds']:.0f} s: {run.folder}"
    )


def explain_nothing(run: Run) -> None:
    """Say why a run has no front.

    Parameters
    ----------
    run : Run
        The run. [-]
    """
    if run.state == "running":
        say_error(
            f"{run.folder}: its front is not written yet. It is still searching, or "
            f"was killed; then  {command_text('resume', run.folder)}  goes on"
        )
        return
    if run.about.get("designs"):
        say_error(
            f"{run.folder}: its {FRONT} is not there any more; it is written again by  "
            f"{command_text('resume', run.folder)}"
        )
        return
    say_error(
        f"{run.folder}: no feasible design in {run.about['evaluations']:,} evaluations"
    )
    if "nearest" in run.about:
        say_error("the nearest design misses")
        for words in run.about["nearest"]:
            say_error(f"  {words}")
        say_error(f"look at it:  {command_text('evaluate', run.folder / NEAREST)}")
    elif run.about["exhausted"]:
        say_error(
            "no design could be built at all: the bands on the end diameters and the "
            "rules leave none of the choices"
        )
    path = run.folder / EXPLANATION
    if path.exists():
        say_error(path.read_text(encoding="utf-8").rstrip())
    elif run.state == "done":
        say_error(
            "what stands in the way was not looked for to the end; it is with:  "
            + command_text("resume", run.folder)
        )
    say_error("widen a band, give the places more choices, or search longer")


def say_picks(run: Run, *, sheet_of: str | None = None) -> str | None:
    """Print the picks of a run.

    Parameters
    ----------
    run : Run
        A run with a front. [-]
    sheet_of : str or None
        Id of the design whose sheet is made already. [-]

    Returns
    -------
    id : str or None
        That of the suggested one. [-]
    """
    front = run.front
    picks = suggest(front, run.spec, run.library.currency)
    shown = front[front["id"].isin([pick.design_id for pick in picks])]
    say("")
    say(table_text(front_table(shown, run.spec, run.library.currency)))
    say("")
    for pick in picks:
        say(f"{pick.title}: {pick.design_id}. {pick.reason}")
    say("")
    best = suggested(picks)
    if best is None:
        return None
    if sheet_of == best.design_id:
        sheet = command_text("sheet", run.folder, "--design", "ID")
        say(f"the sheet of {best.design_id} is made; of another:  {sheet}")
    else:
        sheet = command_text("sheet", run.folder, "--design", best.design_id)
        say(f"make its sheet:  {sheet}")
    return best.design_id


def pick_list(run: Run) -> list[dict[str, str]]:
    """The picks of a run, as JSON values.

    Parameters
    ----------
    run : Run
        A run with a front. [-]

    Returns
    -------
    picks : list of dict
        Id, title and reason of each. [-]
    """
    picks = suggest(run.front, run.spec, run.library.currency)
    return [{"id": p.design_id, "title": p.title, "reason": p.reason} for p in picks]
