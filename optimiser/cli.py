"""The command line: reads arguments, calls one function, prints."""

import argparse
import json
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from time import monotonic
from typing import Any, NoReturn

from tqdm import tqdm

from model import (
    InputError,
    Library,
    Report,
    open_document,
    read_library,
    suggestion,
)
from model import read_quantity as quantity
from optimiser.report_text import report_text
from optimiser.review import (
    front_table,
    suggest,
    suggested,
    table_text,
    write_review,
)
from optimiser.run import (
    evaluate_file,
    load_spec,
    packaged_scenarios,
    reports_of,
    resume_run,
    run_spec,
)
from optimiser.search import Progress
from optimiser.sheet import write_sheet
from optimiser.spec import describe_spec
from optimiser.store import Run, open_run

DONE, FAILED, BAD_INPUT, INTERRUPTED = 0, 1, 2, 130

_DEMO_SCENARIO = "fairway_58"
_DEMO_EVALUATIONS = 100_000
_CAUTION = (
    "Predicted durability is no substitute for physical proof tests to the applicable "
    "standard."
)


class _Parser(argparse.ArgumentParser):
    """Says which word was meant."""

    def error(self, message: str) -> NoReturn:
        known = [o for action in self._actions for o in action.option_strings]
        commands: list[str] = []
        for action in self._actions:
            if isinstance(action, argparse._SubParsersAction):
                commands += list(action.choices)
        if "invalid choice" in message and commands:
            word = message.split("'")[1]
            message = f"no command '{word}'. {suggestion(word, commands)}"
        elif "unrecognized arguments" in message:
            word = message.rsplit(": ", 1)[-1].split()[0]
            message = f"no option '{word}'. {suggestion(word, known)}"
        self.print_usage(sys.stderr)
        sys.stderr.write(f"{self.prog}: {message}\n")
        raise SystemExit(BAD_INPUT)


@dataclass
class _ProgressLine:
    """A live line on standard error; now and then a line where that is no terminal."""

    is_live: bool
    bar: Any = None
    said: float = field(default_factory=monotonic)

    def __call__(
        self,
        progress: Progress,
        hypervolume: float,
        evaluations: int | None,
        seconds: float | None,
    ) -> None:
        per_second = progress.evaluations / max(progress.seconds, 1e-9)
        left = []
        if evaluations is not None:
            left.append((evaluations - progress.evaluations) / max(per_second, 1e-9))
        if seconds is not None:
            left.append(seconds - progress.seconds)
        words = (
            f"{per_second:,.0f}/s, feasible {progress.feasible:,}, "
            f"front {progress.archive:,}, hypervolume {hypervolume:.4f}, "
            f"left {_clock(max(min(left, default=0.0), 0.0))}"
        )
        if self.is_live:
            if self.bar is None:
                self.bar = tqdm(
                    total=evaluations,
                    initial=0,
                    unit=" designs",
                    leave=True,
                    dynamic_ncols=True,
                    bar_format="{percentage:3.0f}% {n_fmt} of {total_fmt}{postfix}",
                )
            self.bar.n = min(progress.evaluations, evaluations or progress.evaluations)
            self.bar.set_postfix_str(words, refresh=False)
            self.bar.refresh()
        elif monotonic() - self.said > 10.0:
            self.said = monotonic()
            sys.stderr.write(f"{progress.evaluations:,} designs, {words}\n")
            sys.stderr.flush()

    def close(self) -> None:
        if self.bar is not None:
            self.bar.close()


def _clock(seconds: float) -> str:
    hours, rest = divmod(int(seconds), 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}"


def _say(text: str) -> None:
    print(text)


def _say_error(text: str) -> None:
    sys.stderr.write(text + "\n")


# ------------------------------------------------------------------------- commands


def _search(arguments: argparse.Namespace) -> int:
    _say_error("compiling on first use can take half a minute; then it is kept")
    line = _ProgressLine(sys.stderr.isatty())
    try:
        run = run_spec(
            arguments.spec,
            library=arguments.library,
            out=arguments.out,
            seed=arguments.seed,
            evaluations=arguments.evaluations,
            seconds=arguments.time,
            listener=line,
        )
    finally:
        line.close()
    return _finish(run, as_json=arguments.json)


def _resume(arguments: argparse.Namespace) -> int:
    run = open_run(arguments.run)
    line = _ProgressLine(sys.stderr.isatty())
    try:
        run = resume_run(
            run,
            evaluations=arguments.evaluations,
            seconds=arguments.time,
            listener=line,
        )
    finally:
        line.close()
    return _finish(run, as_json=arguments.json)


def _finish(run: Run, *, as_json: bool) -> int:
    """Say what a search found."""
    front = run.front
    interrupted = run.about["state"] == "interrupted"
    if as_json:
        about = {**run.about, "folder": str(run.folder)}
        about["front"] = json.loads(front.to_json(orient="records"))
        _say(json.dumps(about, indent=2, ensure_ascii=False))
    elif front.empty:
        _say_error(
            f"no feasible design in {run.about['evaluations']:,} evaluations "
            f"({run.folder})"
        )
        for words in run.about.get("nearest", []):
            _say_error(f"  nearest design: {words}")
        _say_error("  widen a band, give the places more choices, or search longer")
    else:
        _say(
            f"{len(front):,} designs on the front after {run.about['evaluations']:,} "
            f"evaluations in {run.about['seconds']:.0f} s: {run.folder}"
        )
        _picks(run)
        _say(f"look at them:  plyfront review {run.folder}")
    if interrupted:
        _say_error(f"interrupted; go on with:  plyfront resume {run.folder}")
        return INTERRUPTED
    return FAILED if front.empty else DONE


def _picks(run: Run) -> str | None:
    """Print the picks; give the id of the suggested one."""
    front = run.front
    picks = suggest(front, run.spec, run.library.currency)
    shown = front[front["id"].isin([pick.design_id for pick in picks])]
    _say("")
    _say(table_text(front_table(shown, run.spec, run.library.currency)))
    _say("")
    for pick in picks:
        _say(f"{pick.title}: {pick.design_id}. {pick.reason}")
    _say("")
    best = suggested(picks)
    if best is not None:
        _say(f"make its sheet:  plyfront sheet {run.folder} --design {best.design_id}")
        return best.design_id
    return None


def _review(arguments: argparse.Namespace) -> int:
    run = open_run(arguments.run)
    if run.front.empty:
        _say_error(f"{run.folder}: no feasible design to review")
        return FAILED
    paths = _write_review(run, arguments.out)
    if arguments.json:
        picks = suggest(run.front, run.spec, run.library.currency)
        _say(
            json.dumps(
                {
                    "files": [str(path) for path in paths],
                    "picks": [
                        {"id": p.design_id, "title": p.title, "reason": p.reason}
                        for p in picks
                    ],
                },
                indent=2,
                ensure_ascii=False,
            )
        )
        return DONE
    _picks(run)
    for path in paths:
        _say(f"wrote {path}")
    return DONE


def _write_review(run: Run, out: Path | None) -> list[Path]:
    front = run.front
    picks = suggest(front, run.spec, run.library.currency)
    chosen = list(dict.fromkeys(pick.design_id for pick in picks))
    return write_review(
        out or run.folder / "review",
        front,
        reports_of(run, chosen),
        run.spec,
        history=run.history_table(),
        mandrels=run.library.mandrels,
        currency=run.library.currency,
    )


def _sheet(arguments: argparse.Namespace) -> int:
    source: Path = arguments.source
    spec = None
    if source.is_dir():
        run = open_run(source)
        if not arguments.design:
            _say_error(
                f"{source} is a run; say which design: "
                f"plyfront sheet {source} --design ID"
            )
            return BAD_INPUT
        path = run.design_path(arguments.design)
        report = reports_of(run, [path.stem])[0]
        library = run.library
        spec = run.spec
        default = run.folder / f"sheet-{path.stem}"
    else:
        if arguments.design:
            _say_error("--design goes with a run folder; a design file is one design")
            return BAD_INPUT
        report, library = evaluate_file(source, arguments.library)
        default = source.with_name(f"sheet-{source.stem}")
    paths = _write_sheet(report, library, arguments.out or default, spec)
    if arguments.json:
        _say(json.dumps({"files": [str(path) for path in paths]}, indent=2))
    else:
        for path in paths:
            _say(f"wrote {path}")
        _say(_CAUTION)
    return DONE


def _write_sheet(report: Report, library: Library, out: Path, spec: Any) -> list[Path]:
    mandrel = library.mandrels[report.design.shaft.mandrel]
    return write_sheet(report, out, spec=spec, mandrel=mandrel)


def _evaluate(arguments: argparse.Namespace) -> int:
    report, _library = evaluate_file(arguments.design, arguments.library)
    if arguments.json:
        _say(json.dumps(report.to_json(), indent=2, ensure_ascii=False))
    else:
        _say(report_text(report))
        _say(_CAUTION)
    return DONE


def _check(arguments: argparse.Namespace) -> int:
    path: Path = arguments.file
    if path.is_dir():
        library = read_library(path)
        text = (
            f"library {path}: {len(library.prepregs)} prepregs of "
            f"{len(library.fibres)} fibres and {len(library.resins)} resins, "
            f"{len(library.mandrels)} mandrels, prices in "
            f"{library.currency or 'an unstated currency'}"
        )
        what = {"kind": "library", "prepregs": list(library.prepregs)}
        what["mandrels"] = list(library.mandrels)
    elif _is_spec(path):
        spec, _library = load_spec(path, arguments.library)
        text = describe_spec(spec)
        what = {"kind": "spec", "places": [place.name for place in spec.places]}
    else:
        report, _library = evaluate_file(path, arguments.library)
        flags = len(report.flags)
        text = (
            f'design "{report.design.name}" ({report.design_id}), {flags} flags: good'
        )
        what = {"kind": "design", "flags": [flag.name for flag in report.flags]}
    _say(json.dumps(what, ensure_ascii=False) if arguments.json else text)
    return DONE


def _is_spec(path: Path) -> bool:
    """Whether a file is meant as a spec rather than as a design."""
    keys = open_document(path).keys
    return "flag" not in keys and ("targets" in keys or "place" in keys)


def _demo(arguments: argparse.Namespace) -> int:
    spec = packaged_scenarios() / _DEMO_SCENARIO / "spec.toml"
    _say("searching the packaged fairway-wood scenario (an invented shop and brief)")
    line = _ProgressLine(sys.stderr.isatty())
    _say_error("compiling on first use can take half a minute; then it is kept")
    try:
        run = run_spec(
            spec,
            out=arguments.out,
            seed=arguments.seed,
            evaluations=_DEMO_EVALUATIONS,
            listener=line,
        )
    finally:
        line.close()
    if run.about["state"] == "interrupted" or run.front.empty:
        return _finish(run, as_json=False)
    _say(
        f"{len(run.front):,} designs on the front after {run.about['evaluations']:,} "
        f"evaluations in {run.about['seconds']:.0f} s"
    )
    best = _picks(run)
    for path in _write_review(run, None):
        _say(f"wrote {path}")
    if best is not None:
        report = reports_of(run, [best])[0]
        folder = run.folder / f"sheet-{best}"
        for path in _write_sheet(report, run.library, folder, run.spec):
            _say(f"wrote {path}")
    _say(_CAUTION)
    return DONE


# ------------------------------------------------------------------------ arguments


def _seconds(text: str) -> float:
    try:
        value = quantity(text, "time")
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from error
    if value <= 0.0:
        raise argparse.ArgumentTypeError("not above nought")
    return value


def _whole(least: int) -> Callable[[str], int]:
    def read(text: str) -> int:
        try:
            value = int(text.replace("_", ""))
        except ValueError:
            value = least - 1
        if value < least:
            raise argparse.ArgumentTypeError(
                f"'{text}' is not a whole number of at least {least}"
            )
        return value

    return read


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="plyfront",
        description="Layup optimiser for sheet-wrapped carbon golf shafts.",
        allow_abbrev=False,
    )
    commands = parser.add_subparsers(
        dest="command", required=True, metavar="COMMAND", parser_class=_Parser
    )

    def command(name: str, run: Callable[[argparse.Namespace], int], text: str) -> Any:
        sub = commands.add_parser(name, help=text, description=text, allow_abbrev=False)
        sub.set_defaults(run_command=run, parser=sub)
        return sub

    def library_and_json(sub: Any, *, library: bool = True) -> None:
        if library:
            sub.add_argument(
                "--library", type=Path, metavar="DIR", help="library folder of your own"
            )
        sub.add_argument(
            "--json", action="store_true", help="JSON alone on standard output"
        )

    def out(sub: Any, text: str) -> None:
        sub.add_argument("--out", type=Path, metavar="DIR", help=text)

    def budget(sub: Any) -> None:
        sub.add_argument(
            "--evaluations", type=_whole(1), metavar="N", help="evaluations in all"
        )
        sub.add_argument(
            "--time", type=_seconds, metavar="TIME", help='time in all, such as "8 h"'
        )

    demo = command("demo", _demo, "search, review and sheet of a packaged scenario")
    demo.add_argument("--seed", type=_whole(0), metavar="N", help="another search")
    out(demo, "run folder to make")
    check = command("check", _check, "validate a spec, a design or a library folder")
    check.add_argument("file", type=Path, metavar="FILE")
    library_and_json(check)
    evaluate = command("evaluate", _evaluate, "predict what a design measures")
    evaluate.add_argument("design", type=Path, metavar="DESIGN")
    library_and_json(evaluate)
    search = command("search", _search, "search a target spec into a run folder")
    search.add_argument("spec", type=Path, metavar="SPEC")
    search.add_argument("--seed", type=_whole(0), metavar="N", help="another search")
    budget(search)
    out(search, "run folder to make")
    library_and_json(search)
    resume = command("resume", _resume, "go on with a run")
    resume.add_argument("run", type=Path, metavar="RUN")
    budget(resume)
    library_and_json(resume, library=False)
    review = command("review", _review, "pictures, tables and picks of a run")
    review.add_argument("run", type=Path, metavar="RUN")
    out(review, "folder for them")
    library_and_json(review, library=False)
    sheet = command("sheet", _sheet, "layup sheet of a design")
    sheet.add_argument("source", type=Path, metavar="RUN|DESIGN")
    sheet.add_argument("--design", metavar="ID", help="design of the run")
    out(sheet, "folder for it")
    library_and_json(sheet)
    return parser


def _parse(arguments: Sequence[str] | None) -> argparse.Namespace:
    """Parse; a word that is left over is blamed on its command, which knows its own."""
    parser = _parser()
    parsed, left = parser.parse_known_args(arguments)
    if left:
        parsed.parser.error(f"unrecognized arguments: {' '.join(left)}")
    return parsed


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
    try:
        parsed = _parse(arguments)
    except SystemExit as stop:
        return int(stop.code or 0)
    try:
        status: int = parsed.run_command(parsed)
    except InputError as error:
        _say_error(str(error))
        return BAD_INPUT
    except BrokenPipeError:
        return DONE
    except OSError as error:
        where = f"{error.filename}: " if error.filename else ""
        _say_error(f"{where}{(error.strerror or str(error)).lower()}")
        return FAILED
    except KeyboardInterrupt:
        _say_error("interrupted")
        return INTERRUPTED
    return status


if __name__ == "__main__":
    sys.exit(main())
