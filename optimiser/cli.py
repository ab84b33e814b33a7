"""The command line: reads arguments, calls one function, prints."""

import argparse
import sys
from collections.abc import Callable, Sequence
from importlib.metadata import version
from pathlib import Path
from typing import Any

from model import InputError, open_document, read_library, suggest_clock_positions
from optimiser.accuracy import (
    accuracy_json,
    accuracy_rows,
    accuracy_text,
    is_accurate,
)
from optimiser.bench_text import bench_page, page_json, page_text, write_page
from optimiser.compare_command import add_compare_command
from optimiser.hand_commands import add_hand_commands
from optimiser.inputs import evaluate_file, load_spec, packaged_scenarios, reports_of
from optimiser.nudge import nudge_run
from optimiser.nudge_text import nudge_json, nudge_text, write_nudges
from optimiser.open_command import add_open_command
from optimiser.outcome import (
    BAD_INPUT,
    DONE,
    FAILED,
    INTERRUPTED,
    about_run,
    explain_nothing,
    finish,
    pick_list,
    say_found,
    say_picks,
)
from optimiser.report_text import (
    clock_text,
    design_text,
    library_text,
    report_text,
    suggestion_json,
)
from optimiser.review import (
    suggest,
    suggested,
)
from optimiser.review_page import write_review
from optimiser.run import run_spec
from optimiser.run_folder import ABOUT
from optimiser.search_commands import add_search_commands
from optimiser.sheet import write_parts
from optimiser.sheet_command import add_sheet_command, say_undrawn
from optimiser.spec_words import describe_spec
from optimiser.store import open_run
from optimiser.terminal import (
    Parser,
    ProgressLine,
    abandon_stdout,
    add_library_and_json,
    add_out,
    length,
    parse,
    prepare_streams,
    say,
    say_error,
    say_files,
    say_json,
    whole,
)

_DEMO_SCENARIO = "fairway_58"
_DEMO_EVALUATIONS = 40_000
#: Spans an EI profile machine may have. [m]
_SPANS = (0.02, 1.0)
_CAUTION = (
    "Predicted durability is no substitute for physical proof tests to the applicable "
    "standard."
)
#: How far flag ends may be nudged. [m]
_NUDGES = (0.0001, 0.02)


# ------------------------------------------------------------------------- commands


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


def _evaluate(arguments: argparse.Namespace) -> int:
    report, library = evaluate_file(
        arguments.design, arguments.library, exact=arguments.exact
    )
    suggestion = suggest_clock_positions(report.design, library)
    if arguments.json:
        say_json({**report.to_json(), "suggested_clock": suggestion_json(suggestion)})
    else:
        say(report_text(report, is_exact=arguments.exact))
        say(clock_text(report, suggestion))
        say(_CAUTION)
    return DONE


def _bench(arguments: argparse.Namespace) -> int:
    report, _library = evaluate_file(arguments.design, arguments.library)
    page = bench_page(
        report,
        span=arguments.span,
        flattening=arguments.flattening,
        measured=arguments.measured,
    )
    paths = write_page(arguments.out, page) if arguments.out else []
    if arguments.json:
        say_json({**page_json(page), "files": [str(path) for path in paths]})
        return DONE
    say(page_text(page))
    if paths:
        say_files(paths)
    say(_CAUTION)
    return DONE


def _accuracy(arguments: argparse.Namespace) -> int:
    rows = accuracy_rows()
    if arguments.json:
        say_json(accuracy_json(rows))
    else:
        say(accuracy_text(rows))
    return DONE if is_accurate(rows) else FAILED


def _check(arguments: argparse.Namespace) -> int:
    path: Path = arguments.file
    what: dict[str, Any]
    if (path / ABOUT).exists():
        run = open_run(path)
        n = len(run.front)
        text = f"run folder {path}: {run.state}, {n:,} designs on its front"
        what = {"kind": "run", "state": run.state, "designs": n}
    elif path.is_dir():
        library = read_library(path)
        text = f"library {path}: good\n{library_text(library)}"
        what = {
            "kind": "library",
            "prepregs": list(library.prepregs),
            "mandrels": list(library.mandrels),
        }
    elif _is_spec(path):
        spec, _library = load_spec(path, arguments.library)
        text = describe_spec(spec)
        what = {"kind": "spec", "places": [place.name for place in spec.places]}
    else:
        report, _library = evaluate_file(path, arguments.library)
        text = design_text(report)
        what = {
            "kind": "design",
            "id": report.design_id,
            "flags": [flag.name for flag in report.flags],
            "warnings": list(report.warnings),
        }
    if arguments.json:
        say_json(what)
    else:
        say(text)
    return DONE


def _is_spec(path: Path) -> bool:
    """Whether a file is meant as a spec rather than as a design."""
    keys = open_document(path).keys
    return "flag" not in keys and ("targets" in keys or "place" in keys)


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
    say(_CAUTION)
    return DONE


# ------------------------------------------------------------------------ arguments


def _parser() -> Parser:
    parser = Parser(
        prog="plyfront",
        description="Layup optimiser for sheet-wrapped carbon golf shafts.",
        allow_abbrev=False,
    )
    parser.add_argument(
        "--version", action="version", version=f"%(prog)s {version('plyfront')}"
    )
    commands = parser.add_subparsers(
        dest="command", required=True, metavar="COMMAND", parser_class=Parser
    )

    def command(name: str, run: Callable[[argparse.Namespace], int], text: str) -> Any:
        sub = commands.add_parser(name, help=text, description=text, allow_abbrev=False)
        sub.set_defaults(run_command=run, parser=sub)
        return sub

    demo = command("demo", _demo, "search, review and sheet of a packaged scenario")
    demo.add_argument("--seed", type=whole(0), metavar="N", help="another search")
    add_out(demo, "run folder to make")
    add_library_and_json(demo, library=False)
    check = command(
        "check", _check, "validate a spec, a design, a library or a run folder"
    )
    check.add_argument("file", type=Path, metavar="FILE")
    add_library_and_json(check)
    evaluate = command("evaluate", _evaluate, "predict what a design measures")
    evaluate.add_argument("design", type=Path, metavar="DESIGN")
    evaluate.add_argument(
        "--exact",
        action="store_true",
        help="with the section of three-dimensional elasticity",
    )
    add_library_and_json(evaluate)
    bench = command("bench", _bench, "what the bench should read of a design")
    bench.add_argument("design", type=Path, metavar="DESIGN")
    bench.add_argument(
        "--measured", type=Path, metavar="CSV", help="EI profile as it was measured"
    )
    bench.add_argument(
        "--span",
        type=length(*_SPANS),
        metavar="LENGTH",
        help='between the supports of the EI profile machine, such as "200 mm"',
    )
    bench.add_argument(
        "--flattening",
        action="store_true",
        help="let the shaft flatten under that machine",
    )
    add_out(bench, "folder for the EI profile as a table and a picture")
    add_library_and_json(bench)
    accuracy = command(
        "accuracy", _accuracy, "hold what is computed against published numbers"
    )
    add_library_and_json(accuracy, library=False)
    add_search_commands(command)
    review = command("review", _review, "page to choose a design of a run from")
    review.add_argument("run", type=Path, metavar="RUN")
    add_out(review, "folder for them")
    add_library_and_json(review, library=False)
    add_compare_command(command)
    nudge = command("nudge", _nudge, "what small shifts do to designs of a run")
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
    add_sheet_command(command)
    add_hand_commands(command)
    add_open_command(command)
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command.

    Parameters
    ----------
    arguments : sequence of str or None
        Words after the program's name; None for those of the process. [-]

    Returns
    -------
    status : int
        0 done, 1 the work failed, 2 bad input, 130 interrupted. [-]
    """
    prepare_streams()
    try:
        parsed = parse(_parser(), arguments)
    except SystemExit as stop:
        return int(stop.code or 0)
    try:
        status: int = parsed.run_command(parsed)
        sys.stdout.flush()
    except InputError as error:
        say_error(str(error))
        return BAD_INPUT
    except BrokenPipeError:
        abandon_stdout()
        return DONE
    except OSError as error:
        where = f"{error.filename}: " if error.filename else ""
        say_error(f"{where}{(error.strerror or str(error)).lower()}")
        for note in getattr(error, "__notes__", []):
            say_error(note)
        return FAILED
    except KeyboardInterrupt:
        say_error("interrupted")
        return INTERRUPTED
    return status


if __name__ == "__main__":
    sys.exit(main())
