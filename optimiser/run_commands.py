"""Commands about a run that was searched: choose from it, nudge its designs."""

import argparse
from pathlib import Path
from typing import Any

from optimiser.nudge import nudge_run
from optimiser.nudge_text import nudge_json, nudge_text, write_nudges
from optimiser.outcome import (
    DONE,
    FAILED,
    explain_nothing,
    pick_list,
    say_found,
    say_picks,
)
from optimiser.review_page import write_review
from optimiser.store import open_run
from optimiser.terminal import (
    Command,
    add_library_and_json,
    add_out,
    length,
    say,
    say_error,
    say_files,
    say_json,
    whole,
)

#: How far flag ends may be nudged. [m]
_NUDGES = (0.0001, 0.02)


def _add_review(review: Any) -> None:
    review.add_argument("run", type=Path, metavar="RUN")
    add_out(review, "folder for them")
    add_library_and_json(review, library=False)


def _review(arguments: argparse.Namespace) -> int:
    run = open_run(arguments.run)
    if run.front.empty:
        explain_nothing(run)
        return FAILED
    paths = write_review(arguments.out or run.folder / "review", run)
    if arguments.json:
        say_json({"files": [str(p) for p in paths], "picks": pick_list(run)})
        return DONE
    if run.state == "running":
        say_error("the run is not over; this is its front when it last stopped")
    say_found(run)
    say_picks(run)
    say_files(paths)
    return DONE


def _add_nudge(nudge: Any) -> None:
    nudge.add_argument("run", type=Path, metavar="RUN")
    nudge.add_argument(
        "--designs", type=whole(1), default=10, metavar="N", help="designs (10)"
    )
    nudge.add_argument(
        "--by",
        type=length(*_NUDGES),
        default=0.002,
        metavar="LENGTH",
        help='how far flag ends and the mandrel set are moved ("2 mm")',
    )
    nudge.add_argument(
        "--draws",
        type=whole(1),
        default=64,
        metavar="N",
        help="times that all are moved at random (64)",
    )
    nudge.add_argument(
        "--seed", type=whole(0), default=1, metavar="N", help="of the choice and moves"
    )
    add_library_and_json(nudge, library=False)


def _nudge(arguments: argparse.Namespace) -> int:
    run = open_run(arguments.run)
    if run.front.empty:
        explain_nothing(run)
        return FAILED
    nudges = nudge_run(
        run,
        n=arguments.designs,
        by=arguments.by,
        draws=arguments.draws,
        seed=arguments.seed,
    )
    files = write_nudges(run.folder, nudges)
    if arguments.json:
        say_json({**nudge_json(nudges), "files": [str(path) for path in files]})
        return DONE
    say(nudge_text(nudges))
    say("")
    say_files(files)
    return DONE


COMMANDS = {
    "review": Command(_add_review, _review),
    "nudge": Command(_add_nudge, _nudge),
}
