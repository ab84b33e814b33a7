"""Commands that search: a spec into a new run, and on with a run."""

import argparse
import sys
from pathlib import Path
from typing import Any

from optimiser.budget import Limits
from optimiser.outcome import finish, say_idle
from optimiser.run import Hands, resume_run, run_spec
from optimiser.store import open_run
from optimiser.terminal import (
    Command,
    ProgressLine,
    add_library_and_json,
    add_out,
    say_error,
    seconds,
    share,
    whole,
)


def _add_search(search: Any) -> None:
    search.add_argument("spec", type=Path, metavar="SPEC")
    search.add_argument(
        "--seed", type=whole(0, 2**63 - 1), metavar="N", help="another search"
    )
    search.add_argument(
        "--islands",
        type=whole(1, 1_000),
        metavar="N",
        help="searches side by side that exchange designs",
    )
    search.add_argument(
        "--start-from",
        type=Path,
        action="append",
        default=[],
        metavar="FILE",
        help="start from a design, or from the designs of a run; may be repeated",
    )
    search.add_argument(
        "--hold",
        action="append",
        default=[],
        metavar="PLACE",
        help="keep that place's flag as in the first of them; may be repeated",
    )
    _add_budget(search)
    add_out(search, "run folder to make")
    add_library_and_json(search)


def _add_resume(resume: Any) -> None:
    resume.add_argument("run", type=Path, metavar="RUN")
    _add_budget(resume)
    resume.add_argument(
        "--take-library",
        action="store_true",
        help="take a library that has changed as it is now; measure all anew",
    )
    resume.add_argument(
        "--spec",
        type=Path,
        metavar="SPEC",
        help="go on with other bands, for the same choices; measure all anew",
    )
    add_library_and_json(resume, library=False)


def _add_budget(sub: Any) -> None:
    sub.add_argument(
        "--evaluations", type=whole(1), metavar="N", help="evaluations in all"
    )
    sub.add_argument(
        "--time", type=seconds, metavar="TIME", help='time in all, such as "8 h"'
    )
    sub.add_argument(
        "--stall",
        type=share,
        metavar="SHARE",
        help='stop when hypervolume rises by less, such as "0.1 %%"; 0 %% never',
    )
    sub.add_argument(
        "--stall-evaluations",
        type=whole(1_000),
        metavar="N",
        help="evaluations over which it must rise",
    )
    sub.add_argument(
        "--workers",
        type=whole(1),
        metavar="N",
        help="processes that work on the islands; as many as there is use for",
    )
    sub.add_argument(
        "--cluster",
        metavar="ADDRESS",
        help="Dask cluster that works on them, such as tcp://10.0.0.5:8786",
    )


def _search(arguments: argparse.Namespace) -> int:
    with ProgressLine(is_live=sys.stderr.isatty()) as line:
        run = run_spec(
            arguments.spec,
            library=arguments.library,
            out=arguments.out,
            seed=arguments.seed,
            islands=arguments.islands,
            limits=_limits(arguments),
            hands=Hands(workers=arguments.workers, cluster=arguments.cluster),
            start_from=arguments.start_from,
            hold=arguments.hold,
            listener=line,
            say=say_error,
        )
    say_idle(run, arguments.workers)
    return finish(run, as_json=arguments.json)


def _limits(arguments: argparse.Namespace) -> Limits:
    return Limits(
        evaluations=arguments.evaluations,
        seconds=arguments.time,
        stall=arguments.stall,
        stall_evaluations=arguments.stall_evaluations,
    )


def _resume(arguments: argparse.Namespace) -> int:
    before = open_run(arguments.run).about.get("evaluations")
    with ProgressLine(is_live=sys.stderr.isatty()) as line:
        run = resume_run(
            arguments.run,
            limits=_limits(arguments),
            hands=Hands(workers=arguments.workers, cluster=arguments.cluster),
            take_library=arguments.take_library,
            spec=arguments.spec,
            listener=line,
            say=say_error,
        )
    say_idle(run, arguments.workers)
    if run.about["stopped_by"] == "budget" and run.about["evaluations"] == before:
        say_error(
            "nothing was left of its budget; give a larger one with --evaluations or "
            "--time, counted from its start"
        )
    return finish(run, as_json=arguments.json)


COMMANDS = {
    "search": Command(_add_search, _search),
    "resume": Command(_add_resume, _resume),
}
