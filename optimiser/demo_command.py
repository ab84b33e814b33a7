"""The command that shows what the others do, from nothing to a layup sheet."""

import argparse
import sys
from typing import Any

from optimiser.inputs import packaged_scenarios, reports_of
from optimiser.outcome import DONE, about_run, finish, pick_list, say_found, say_picks
from optimiser.review import suggest, suggested
from optimiser.review_page import write_review
from optimiser.run import run_spec
from optimiser.sheet import write_parts
from optimiser.sheet_command import say_undrawn
from optimiser.terminal import (
    Command,
    ProgressLine,
    add_library_and_json,
    add_out,
    say,
    say_error,
    say_files,
    say_json,
    whole,
)
from optimiser.words import CAUTIONS

_DEMO_SCENARIO = "fairway_58"
_DEMO_EVALUATIONS = 40_000


def _add_demo(demo: Any) -> None:
    demo.add_argument("--seed", type=whole(0), metavar="N", help="another search")
    add_out(demo, "run folder to make")
    add_library_and_json(demo, library=False)


def _demo(arguments: argparse.Namespace) -> int:
    say_error(
        "searching the packaged fairway-wood scenario, an invented shop and brief"
    )
    with ProgressLine(is_live=sys.stderr.isatty()) as line:
        run = run_spec(
            packaged_scenarios() / _DEMO_SCENARIO / "spec.toml",
            out=arguments.out,
            seed=arguments.seed,
            evaluations=_DEMO_EVALUATIONS,
            listener=line,
        )
    if run.state != "done" or run.front.empty:
        return finish(run, as_json=arguments.json)
    paths = write_review(run.folder / "review", run)
    best = suggested(suggest(run.front, run.spec, run.library.currency))
    if best is not None:
        report = reports_of(run, [best.design_id])[0]
        folder = run.folder / f"sheet-{best.design_id}"
        written = write_parts(report, run.library, folder, spec=run.spec)
        paths += written.paths
        say_undrawn(written)
    if arguments.json:
        files = [str(path) for path in paths]
        say_json({**about_run(run), "files": files, "picks": pick_list(run)})
        return DONE
    say_found(run)
    say_picks(run, sheet_of=None if best is None else best.design_id)
    say_files(paths)
    say(CAUTIONS[0])
    return DONE


COMMANDS = {"demo": Command(_add_demo, _demo)}
