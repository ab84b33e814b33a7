"""Commands about a file as it is: whether it is good, what a design measures."""

import argparse
from pathlib import Path
from typing import Any

from model import open_document, read_library, suggest_clock_positions
from optimiser.inputs import evaluate_file, load_spec
from optimiser.outcome import DONE
from optimiser.report_text import (
    clock_text,
    design_text,
    library_text,
    report_text,
    suggestion_json,
)
from optimiser.run_folder import ABOUT
from optimiser.spec_words import describe_spec
from optimiser.store import open_run
from optimiser.terminal import Command, add_library_and_json, say, say_json
from optimiser.words import CAUTIONS


def _add_check(check: Any) -> None:
    check.add_argument("file", type=Path, metavar="FILE")
    add_library_and_json(check)


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


def _add_evaluate(evaluate: Any) -> None:
    evaluate.add_argument("design", type=Path, metavar="DESIGN")
    evaluate.add_argument(
        "--exact",
        action="store_true",
        help="with the section of three-dimensional elasticity",
    )
    add_library_and_json(evaluate)


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
        say(CAUTIONS[0])
    return DONE


COMMANDS = {
    "check": Command(_add_check, _check),
    "evaluate": Command(_add_evaluate, _evaluate),
}
