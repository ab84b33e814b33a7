"""The command that says what the bench should read of a design."""

import argparse
from pathlib import Path
from typing import Any

from optimiser.bench_text import bench_page, page_json, page_text, write_page
from optimiser.inputs import evaluate_file
from optimiser.outcome import DONE
from optimiser.terminal import (
    Command,
    add_library_and_json,
    add_out,
    length,
    say,
    say_files,
    say_json,
)
from optimiser.words import CAUTIONS

#: Spans an EI profile machine may have. [m]
_SPANS = (0.02, 1.0)


def _add_bench(bench: Any) -> None:
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
    say(CAUTIONS[0])
    return DONE


COMMANDS = {"bench": Command(_add_bench, _bench)}
