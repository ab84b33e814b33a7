"""The command that writes what the shop needs of one design."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from model import Fault, InputError
from optimiser.bill import bill_text
from optimiser.inputs import evaluate_file, load_spec, reports_of
from optimiser.sheet import BATCH, PARTS, Papers, Written, write_parts
from optimiser.sheet_blocks import PAPERS
from optimiser.sheet_type import NO_LETTER
from optimiser.shop_units import SHOP_UNITS
from optimiser.store import open_run
from optimiser.terminal import (
    Command,
    add_library_and_json,
    add_out,
    command_text,
    length,
    say,
    say_error,
    say_files,
    say_json,
    whole,
)
from optimiser.words import CAUTIONS


def _add_sheet(sheet: Any) -> None:
    sheet.add_argument("source", type=Path, metavar="RUN|DESIGN")
    sheet.add_argument("--design", metavar="ID", help="design of the run")
    sheet.add_argument(
        "--part",
        action="append",
        choices=PARTS,
        help="this part alone; may be given again for another; default all",
    )
    sheet.add_argument(
        "--revision", default="", metavar="TEXT", help="revision that is printed"
    )
    sheet.add_argument(
        "--units",
        choices=tuple(SHOP_UNITS),
        default="si",
        help="of all papers; trade is inches, feet and pounds, DXF stays in mm at 1:1; "
        "default si",
    )
    sheet.add_argument(
        "--paper", choices=tuple(PAPERS), default="a4", help="default a4"
    )
    sheet.add_argument(
        "--spec", type=Path, metavar="FILE", help="spec whose bands are accepted"
    )
    sheet.add_argument(
        "--batch",
        type=whole(1),
        default=BATCH,
        metavar="N",
        help=f"shafts that are cut at once, for workbook, lays, bill; default {BATCH}",
    )
    sheet.add_argument(
        "--overlap",
        type=length(0.0, 0.02),
        default=0.0,
        metavar="LENGTH",
        help='allowance on the wound edge of every piece ("2 mm"); default none',
    )
    sheet.add_argument(
        "--ends",
        choices=("developed", "square"),
        default="developed",
        help="ends of pieces: arcs as a cone unrolls, or square to the straight edge",
    )
    sheet.add_argument(
        "--turn-pairs",
        action="store_true",
        help="the second piece of a pair is turned over when laid on the first: "
        "cut it as the mirror image, at the same angle to the roll",
    )
    add_out(sheet, "folder for it")
    add_library_and_json(sheet)


def _sheet(arguments: argparse.Namespace) -> int:
    source: Path = arguments.source
    if source.is_dir():
        run = open_run(source)
        if not arguments.design:
            command = f"{command_text('sheet', source, '--design')} ID"
            raise _refused(source, "--design", f"is missing. Say which:  {command}")
        for option, given in (
            ("--library", arguments.library),
            ("--spec", arguments.spec),
        ):
            if given:
                own = option.removeprefix("--")
                message = f"goes with a design file; a run has its own {own}."
                raise _refused(source, option, message)
        path = run.design_path(arguments.design)
        report = reports_of(run, [path.stem])[0]
        library, spec = run.library, run.spec
        default = run.folder / f"sheet-{path.stem}"
    else:
        if arguments.design:
            message = "goes with a run folder; a design file is one design."
            raise _refused(source, "--design", message)
        report, library = evaluate_file(source, arguments.library)
        spec = None
        if arguments.spec is not None:
            spec = load_spec(arguments.spec, arguments.library)[0]
        default = source.with_name(f"sheet-{source.stem}")
    written = write_parts(
        report,
        library,
        arguments.out or default,
        parts=arguments.part or PARTS,
        spec=spec,
        batch=arguments.batch,
        ends=arguments.ends,
        turn_over=arguments.turn_pairs,
        overlap=arguments.overlap,
        papers=Papers(
            revision=" ".join(arguments.revision.split()),
            paper=arguments.paper,
            units=SHOP_UNITS[arguments.units],
        ),
    )
    say_undrawn(written)
    if arguments.json:
        say_json({"files": [str(path) for path in written.paths]})
    else:
        say_files(written.paths)
        if written.bill:
            say(f"\n{bill_text(written.bill, SHOP_UNITS[arguments.units])}\n")
        if arguments.units != "si" and any(p.suffix == ".dxf" for p in written.paths):
            words = SHOP_UNITS[arguments.units].words
            say(f"Papers and tables are in {words}; DXF files are in mm at 1:1.")
        say(CAUTIONS[0])
    return 0


def say_undrawn(written: Written) -> None:
    """Say on the error stream which names the papers cannot show as they are.

    Parameters
    ----------
    written : Written
        What was written. [-]
    """
    if written.undrawn:
        names = "; ".join(written.undrawn)
        say_error(f"warning: {names}. {NO_LETTER} stands for them; tables keep them.")


def _refused(source: Path, option: str, message: str) -> InputError:
    return InputError(str(source), [Fault("", option, None, message)])


COMMANDS = {"sheet": Command(_add_sheet, _sheet)}
