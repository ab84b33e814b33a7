"""The command that compares two designs, or two runs."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from model import Fault, InputError
from optimiser.chosen import known_spec
from optimiser.compare import compare_designs
from optimiser.compare_runs import compare_runs
from optimiser.compare_runs_text import runs_json, runs_text, write_fronts_picture
from optimiser.compare_text import compare_json, compare_text, write_compare
from optimiser.inputs import evaluate_file, load_spec
from optimiser.outcome import DONE, FAILED, explain_nothing
from optimiser.spec import Spec
from optimiser.store import open_run
from optimiser.terminal import (
    Command,
    add_library_and_json,
    add_out,
    say,
    say_files,
    say_json,
)


def _add_compare(compare: Any) -> None:
    compare.add_argument("first", type=Path, metavar="RUN|DESIGN")
    compare.add_argument("second", type=Path, metavar="RUN|DESIGN")
    compare.add_argument(
        "--spec",
        type=Path,
        metavar="FILE",
        help="spec whose bands are shown beside designs; without, that of their run "
        "or sheet",
    )
    add_out(compare, "folder for pictures, and for tables of two designs")
    add_library_and_json(compare)


def _compare(arguments: argparse.Namespace) -> int:
    missing = [
        Fault("", None, None, f"{path}: no such file or folder.")
        for path in (arguments.first, arguments.second)
        if not path.exists()
    ]
    if missing:
        raise InputError("compare", missing)
    are_folders = {path.is_dir() for path in (arguments.first, arguments.second)}
    if len(are_folders) == 2:
        message = (
            "is compared with another of its kind: two design files (those of a run "
            "are in its folder designs), or two run folders."
        )
        raise InputError(str(arguments.second), [Fault("", None, None, message)])
    return _of_runs(arguments) if are_folders.pop() else _of_designs(arguments)


def _of_runs(arguments: argparse.Namespace) -> int:
    for option, given in (
        ("--spec", arguments.spec),
        ("--library", arguments.library),
    ):
        if given is not None:
            message = "goes with design files; a run has its own."
            fault = Fault("", option, str(given), message)
            raise InputError(str(arguments.first), [fault])
    runs = [open_run(path) for path in (arguments.first, arguments.second)]
    for run in runs:
        if run.front.empty:
            explain_nothing(run)
            return FAILED
    first, second = runs
    comparison = compare_runs(first, second)
    out = arguments.out or second.folder / "compare"
    picture = write_fronts_picture(out / "fronts.png", first, second)
    if arguments.json:
        say_json({**runs_json(comparison), "files": [str(picture)]})
        return DONE
    say(runs_text(comparison))
    say("")
    say_files([picture])
    return DONE


def _of_designs(arguments: argparse.Namespace) -> int:
    paths = (arguments.first, arguments.second)
    opened = [evaluate_file(path, arguments.library) for path in paths]
    if arguments.spec is not None:
        spec: Spec | None = load_spec(arguments.spec, arguments.library)[0]
    else:
        spec = known_spec(arguments.first) or known_spec(arguments.second)
    found = compare_designs(opened[0][0], opened[1][0], spec)
    files = []
    if arguments.out is not None:
        mandrels = [
            library.mandrels[report.design.shaft.mandrel] for report, library in opened
        ]
        files = write_compare(arguments.out, found, mandrels)
    if arguments.json:
        say_json({**compare_json(found), "files": [str(path) for path in files]})
        return DONE
    say(compare_text(found))
    if files:
        say_files(files)
    return DONE


COMMANDS = {"compare": Command(_add_compare, _compare)}
