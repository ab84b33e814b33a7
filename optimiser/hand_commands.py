"""Commands for work by hand on one design: explain it, try a change."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from model import (
    Design,
    Fault,
    InputError,
    QuantityError,
    Text,
    design_id,
    design_to_text,
)
from optimiser.beside import (
    beside_json,
    beside_rows,
    beside_text,
    measured,
    rule_breaks,
    strange_bench,
)
from optimiser.chosen import Chosen, choose, save_design
from optimiser.edits import KINDS, Edit, apply_edits
from optimiser.explain import explain
from optimiser.explain_text import explain_json, explain_text, write_explanation
from optimiser.terminal import Command, length, say, say_files, say_json
from optimiser.words import CAUTIONS, titled

#: How far ends may be moved. [m]
_STEPS = (0.0001, 0.2)
_ON_SHAFT = (0.0, 2.0)
_TEXTS: Final = {
    "set": (
        "FLAG: KEY = VALUE",
        "such as 'body: wraps += 0.5'; keys of shaft, finish, bench too",
    ),
    "add": ("FLAG: KEY = VALUE, ...", "a flag more; before = or after = another"),
    "remove": ("FLAG", "a flag less"),
    "move": ("FLAG: PLACE", "another place in the rolling order"),
}


def _add_explain(told: Any) -> None:
    add_source(told)
    told.add_argument(
        "--at",
        type=length(*_ON_SHAFT),
        action="append",
        metavar="STATION",
        help='station at which EI is looked at, such as "200 mm"; as often as wanted',
    )
    told.add_argument(
        "--by",
        type=length(*_STEPS),
        default=0.010,
        metavar="LENGTH",
        help='how far ends and the mandrel set are moved ("10 mm")',
    )
    told.add_argument(
        "--out", type=Path, metavar="DIR", help="folder for tables and pictures"
    )


def _add_try(tried: Any) -> None:
    add_source(tried)
    for kind, (metavar, text) in _TEXTS.items():
        tried.add_argument(
            f"--{kind}", action=_EditAction, dest="edits", metavar=metavar, help=text
        )
    tried.add_argument(
        "--name", metavar="NAME", help="what the changed design is called"
    )
    tried.add_argument("--out", type=Path, metavar="FILE", help="design file to make")
    tried.add_argument(
        "--overwrite", action="store_true", help="--out may be there already"
    )


def add_source(parser: Any) -> None:
    """Add the arguments that say which design a command is about.

    Parameters
    ----------
    parser : ArgumentParser
        Of the command. [-]
    """
    parser.add_argument("source", type=Path, metavar="RUN|DESIGN")
    parser.add_argument("--design", metavar="ID", help="design of the run")
    parser.add_argument(
        "--spec",
        type=Path,
        metavar="FILE",
        help="spec whose bands are shown; without, that of the design's run or sheet",
    )
    parser.add_argument(
        "--library", type=Path, metavar="DIR", help="library folder of your own"
    )
    parser.add_argument(
        "--json", action="store_true", help="JSON alone on standard output"
    )


class _EditAction(argparse.Action):
    """Gathers edits of all kinds in the order they are given."""

    def __call__(
        self,
        parser: argparse.ArgumentParser,
        namespace: argparse.Namespace,
        values: str | Sequence[Any] | None,
        option_string: str | None = None,
    ) -> None:
        """Note one edit (see `argparse.Action`)."""
        kind = str(option_string).removeprefix("--")
        if kind not in KINDS:
            parser.error(f"unrecognized arguments: {option_string}")
        edits = list(getattr(namespace, self.dest) or [])
        setattr(namespace, self.dest, [*edits, Edit(kind, str(values))])


def _chosen(arguments: argparse.Namespace) -> Chosen:
    return choose(
        arguments.source,
        design=arguments.design,
        library=arguments.library,
        spec=arguments.spec,
    )


# ------------------------------------------------------------------------- explain


def _explain(arguments: argparse.Namespace) -> int:
    chosen = _chosen(arguments)
    with_path = str(chosen.path)
    try:
        explanation = explain(
            chosen.design,
            chosen.library,
            spec=chosen.spec,
            stations=tuple(arguments.at or ()),
            by=arguments.by,
        )
    except InputError as error:
        raise InputError(with_path, error.faults) from error
    files = write_explanation(arguments.out, explanation) if arguments.out else []
    status = 1 if explanation.report.obstacles else 0
    if arguments.json:
        say_json({**explain_json(explanation), "files": [str(p) for p in files]})
        return status
    say(explain_text(explanation))
    if files:
        say_files(files)
    return status


# ----------------------------------------------------------------------------- try


def _try(arguments: argparse.Namespace) -> int:
    edits: list[Edit] = arguments.edits or []
    chosen = _chosen(arguments)
    if not edits:
        message = "nothing to try. Give --set, --add, --remove or --move."
        raise InputError(str(chosen.path), [Fault("", None, None, message)])
    source = f"{chosen.path} as changed"
    design = apply_edits(chosen.design, edits, chosen.library, source)
    if arguments.name:
        design = _named(design, arguments.name, source)
    before = measured(chosen.design, chosen.library)
    after = measured(design, chosen.library)
    status = 1 if after.obstacles else 0
    misses = after.lines
    if chosen.spec is not None and after.report is not None:
        misses += rule_breaks(design, chosen.library, chosen.spec)
    notes = [] if after.report is None else list(after.report.warnings)
    if chosen.spec is not None and (strange := strange_bench(design, chosen.spec)):
        notes.append(strange)
    notes += [f"as it was it {line}" for line in before.lines]
    saved = None
    if arguments.out is not None:
        saved = _save(arguments, chosen, design)
    identity = design_id(design, chosen.library)
    old, rows = (
        None if one.report is None else beside_rows(one.report, chosen.spec)
        for one in (before, after)
    )
    if arguments.json:
        say_json(
            {
                "name": design.name,
                "id": identity,
                "before": None if old is None else beside_json(old),
                "after": None if rows is None else beside_json(rows),
                "can_be_built": not after.obstacles,
                "misses": misses,
                "notes": notes,
                "design": design_to_text(design),
                "file": None if saved is None else str(saved),
                "cautions": list(CAUTIONS),
            }
        )
        return status
    say(titled(design.name, identity))
    for edit in edits:
        say(f"  {edit.kind} {edit.text}")
    say(f"\n{beside_text(old, rows)}\n" if old or rows else "")
    for line in misses:
        say(f"misses: {line}")
    if chosen.spec is not None and not misses:
        say("all bands and rules of the spec are kept")
    for note in notes:
        say(f"warning: {note}")
    if saved is not None:
        say(f"wrote {saved}{'; it cannot be built yet' if status else ''}")
    say(CAUTIONS[0])
    return status


def _named(design: Design, name: str, source: str) -> Design:
    try:
        return replace(design, name=Text().read(name))
    except QuantityError as error:
        raise InputError(source, [Fault("", "--name", name, str(error))]) from error


def _save(arguments: argparse.Namespace, chosen: Chosen, design: Design) -> Path:
    try:
        return save_design(
            design,
            arguments.out,
            chosen.library_folder,
            is_asked=arguments.overwrite,
        )
    except FileExistsError as error:
        message = "is there already. Give another name, or --overwrite."
        fault = Fault("", "--out", str(arguments.out), message)
        raise InputError(str(arguments.out), [fault]) from error


COMMANDS = {
    "explain": Command(_add_explain, _explain),
    "try": Command(_add_try, _try),
}
