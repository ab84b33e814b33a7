"""What a person at a terminal meets: arguments that know what was meant, progress."""

from __future__ import annotations

import argparse
import json
import os
import shlex
import sys
import threading
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING, Any, NoReturn, Self

from tqdm import tqdm

from model import Quantity, read_quantity, suggestion

if TYPE_CHECKING:
    # what a search needs is not loaded to say how a command is used
    from optimiser.watch import Standing

#: Between two lines of progress where nobody watches. [s]
_LINE_EVERY = 10.0
#: After this much silence it is said what is waited for. [s]
_SILENT_FOR = 3.0
#: What is said where nothing else has been said for a while.
STILL_STARTING = (
    "still starting; on first use the core is compiled, on each machine, which takes "
    "a minute or two once"
)


_A_LAY = "lay_*.dxf"
#: What to look for in a file that was written.
_SHOWS = {
    "review.html": "the page to choose from; opens in any browser, needs no network",
    "picks.csv": "the picks as a table",
    "fronts.png": "both fronts on one pair of axes",
    "layup_sheet.pdf": "what the rolling table needs",
    "layup_sheet.xlsx": "the same as a workbook, with costs of a batch",
    "made_from": "design, spec, library and metrics, to be evaluated again",
    "flags.csv": "flags in rolling order",
    "cut_widths.csv": "width of each piece along its length",
    "check_diameters.csv": "diameters to check while rolling and after",
    "bench.csv": "what the bench should read",
    "materials.csv": "bill of materials",
    "compare.png": "both flag maps, what changed marked",
    "compare_changes.csv": "flags and settings that differ",
    "compare_metrics.csv": "metrics of both, beside their bands",
    "compare_pieces.csv": "pieces that are cut otherwise",
    "nudge.csv": "what small shifts do to each design, band by band",
    "nudge.txt": "the same in short",
    "patterns.dxf": "flat pieces for a cutter, true size in mm",
    "patterns.svg": "the same at true size, to look at",
    "patterns.pdf": "the same to scale",
    "lays.pdf": "how the pieces of a batch lie on the rolls",
    _A_LAY: "the lay of one prepreg for a cutter, true size in mm",
    "lays.csv": "roll that a batch takes",
    "bill.csv": "bill of materials and cost of a batch",
    "profile.csv": "the EI profile as the bench reads it",
    "profile.png": "the same as a picture",
}


def say(text: str) -> None:
    """Print to standard output.

    Parameters
    ----------
    text : str
        Lines. [-]
    """
    print(text)


def say_error(text: str) -> None:
    """Print to standard error.

    Parameters
    ----------
    text : str
        Lines. [-]
    """
    sys.stderr.write(text + "\n")


def say_json(what: Any) -> None:
    """Print JSON values to standard output.

    Parameters
    ----------
    what : dict or list
        The values. [-]
    """
    say(json.dumps(what, indent=2, ensure_ascii=False, allow_nan=False))


def say_files(paths: Sequence[Path]) -> None:
    """Say which files were written, and what is in them.

    Parameters
    ----------
    paths : sequence of Path
        The files. [-]
    """
    width = max(len(str(path)) for path in paths)
    for path in paths:
        say(f"wrote {path!s:<{width}}  {shows(path)}".rstrip())


def shows(path: Path) -> str:
    """Say what to look for in a file that was written.

    Parameters
    ----------
    path : Path
        The file. [-]

    Returns
    -------
    text : str
        A few words; empty for a file that speaks for itself. [-]
    """
    return _SHOWS.get(_A_LAY if path.match(_A_LAY) else path.name, "")


def command_text(*words: object) -> str:
    """A command of this program as one types it.

    Parameters
    ----------
    *words : object
        Its words, those after the program's name. [-]

    Returns
    -------
    text : str
        Quoted where it has to be. [-]
    """
    return shlex.join(["plyfront", *map(str, words)])


@dataclass(frozen=True)
class Command:
    """What a command takes, and what does it."""

    add_arguments: Callable[[Any], None]  #: to its parser
    run: Callable[[argparse.Namespace], int]  #: gives the exit status


class Parser(argparse.ArgumentParser):
    """Says which word was meant."""

    def error(self, message: str) -> NoReturn:
        """Print how it is used and what is wrong, and end the program.

        Parameters
        ----------
        message : str
            In argparse's words. [-]
        """
        options = [o for action in self._actions for o in action.option_strings]
        commands: list[str] = []
        for action in self._actions:
            if isinstance(action, argparse._SubParsersAction):
                commands += list(action.choices)
        word = _quoted_word(message)
        if "invalid choice" in message and commands:
            message = f"no command '{word}'. {suggestion(word, commands)}"
        elif "unrecognized arguments" in message:
            word = message.split(": ", 1)[1].split()[0]
            if word.startswith("-"):
                name = word.split("=")[0]
                message = f"no option '{name}'. {suggestion(name, options)}"
            else:
                message = f"'{word}' is one word too many."
        self.print_usage(sys.stderr)
        sys.stderr.write(f"{self.prog}: {message}\n")
        raise SystemExit(2)


def _quoted_word(message: str) -> str:
    parts = message.split("'")
    return parts[1] if len(parts) > 2 else ""


def parse(parser: Parser, arguments: Sequence[str] | None) -> argparse.Namespace:
    """Parse; a word that is left over is blamed on its command, which knows its own.

    Parameters
    ----------
    parser : Parser
        Its commands set `parser` to their own. [-]
    arguments : sequence of str or None
        Words after the program's name; None for those of the process. [-]

    Returns
    -------
    parsed : Namespace
        Values by name. [-]
    """
    parsed, left = parser.parse_known_args(arguments)
    if left:
        parsed.parser.error(f"unrecognized arguments: {' '.join(left)}")
    return parsed


def add_library_and_json(sub: Any, *, library: bool = True) -> None:
    """Add what nearly every command takes.

    Parameters
    ----------
    sub : Parser
        That of a command. [-]
    library : bool
        Whether it takes a library of one's own. [-]
    """
    if library:
        sub.add_argument(
            "--library", type=Path, metavar="DIR", help="library folder of your own"
        )
    sub.add_argument(
        "--json", action="store_true", help="JSON alone on standard output"
    )


def add_out(sub: Any, text: str) -> None:
    """Add where a command writes to.

    Parameters
    ----------
    sub : Parser
        That of a command. [-]
    text : str
        What is written there. [-]
    """
    sub.add_argument("--out", type=Path, metavar="DIR", help=text)


def seconds(text: str) -> float:
    """Read a time from the command line.

    Parameters
    ----------
    text : str
        With its unit. [-]

    Returns
    -------
    seconds : float
        Above nought. [s]

    Raises
    ------
    argparse.ArgumentTypeError
        If it is no time.
    """
    try:
        value = read_quantity(text, "time")
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from error
    if value <= 0.0:
        raise argparse.ArgumentTypeError(f"'{text}' is not above nought")
    return value


def share(text: str) -> float:
    """Read a share from the command line.

    Parameters
    ----------
    text : str
        Such as "0.1 %". [-]

    Returns
    -------
    share : float
        From nought to one. [-]

    Raises
    ------
    argparse.ArgumentTypeError
        If it is no share.
    """
    try:
        return Quantity("percent", at_least=0.0, at_most=1.0).read(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"{text}: {error}") from error


def length(at_least: float, at_most: float) -> Callable[[str], float]:
    """Make a reader of lengths from the command line.

    Parameters
    ----------
    at_least, at_most : float
        Bounds. [m]

    Returns
    -------
    read : callable
        Gives the length in metres; raises what argparse understands. [m]
    """

    def read(text: str) -> float:
        try:
            return Quantity("length", at_least=at_least, at_most=at_most).read(text)
        except ValueError as error:
            raise argparse.ArgumentTypeError(f"{text}: {error}") from error

    return read


def whole(least: int, most: int | None = None) -> Callable[[str], int]:
    """Reader of whole numbers from the command line.

    Parameters
    ----------
    least : int
        Smallest that is allowed. [-]
    most : int or None
        Largest that is allowed; None where there is none. [-]

    Returns
    -------
    read : callable
        From text to number. [-]
    """

    def read(text: str) -> int:
        try:
            value = int(text.replace(",", ""))
        except ValueError:
            value = least - 1
        if value < least:
            raise argparse.ArgumentTypeError(
                f"'{text}' is not a whole number of at least {least}"
            )
        if most is not None and value > most:
            raise argparse.ArgumentTypeError(f"'{text}' is above {most:,}")
        return value

    return read


def prepare_streams() -> None:
    """Let no letter that a terminal does not have end a command."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")


def abandon_stdout() -> None:
    """Send what is left for a reader that has gone to nowhere."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())


def standing_text(standing: Standing, width: int | None = None) -> str:
    """Say where a search stands.

    Parameters
    ----------
    standing : Standing
        As a listener gets it. [-]
    width : int or None
        Letters that there is room for; what matters least is left out where they are
        few. None for any number. [-]

    Returns
    -------
    text : str
        One line. [-]
    """
    progress, budget = standing.progress, standing.budget
    rate = standing.rate
    shares = [0.0]
    count = f"{progress.evaluations:,}"
    if budget.evaluations is not None:
        count += f" of {budget.evaluations:,}"
        shares.append(progress.evaluations / budget.evaluations)
    if budget.seconds is not None:
        shares.append(progress.seconds / budget.seconds)
    left = "" if standing.left is None else f"left {_clock(standing.left)}"
    share = progress.feasible / max(progress.evaluations, 1)
    # each with its rank; the last in rank is left out first
    parts = [
        (0, standing.trouble),
        (1, standing.writing),
        (2, f"{min(max(shares), 1.0):.0%} {count} designs"),
        (6, f"{rate:,.0f}/s" if rate else ""),
        (3, "stopping" if standing.is_stopping else left),
        (7, f"feasible {progress.feasible:,} ({share:.1%})"),
        (4, f"front {progress.archive:,}"),
        (5, f"hypervolume {standing.hypervolume:.4f}"),
    ]
    parts = [part for part in parts if part[1]]
    while True:
        text = ", ".join(words for _, words in parts)
        if width is None or len(text) <= width or len(parts) == 1:
            return text
        parts.remove(max(parts))


def _width() -> int | None:
    """Letters in a line of the terminal; None where it does not say."""
    try:
        columns = os.get_terminal_size(sys.stderr.fileno()).columns
    except (OSError, ValueError):
        return None
    return columns - 1 if columns > 1 else None


def _clock(seconds: float) -> str:
    hours, rest = divmod(int(seconds), 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}"


def waiting_timer() -> threading.Timer:
    """Make what says, after a silence, what is waited for.

    Returns
    -------
    timer : Timer
        To be started, and cancelled once there is something to say. [-]
    """
    timer = threading.Timer(
        _SILENT_FOR, lambda: print(STILL_STARTING, file=sys.stderr, flush=True)
    )
    timer.daemon = True
    return timer


class ProgressLine:
    """A live line on standard error; now and then a line where that is no terminal."""

    def __init__(self, *, is_live: bool) -> None:
        self.is_live = is_live
        self._bar: Any = None
        self._said = monotonic()
        self._trouble = ""
        self._is_gone = False
        self._waiting = waiting_timer()

    def __enter__(self) -> Self:
        self._waiting.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Leave the last line where it is."""
        self._waiting.cancel()
        if self._bar is not None:
            with suppress(OSError):
                self._bar.close()

    def __call__(self, standing: Standing) -> None:
        """Show where a search stands.

        Parameters
        ----------
        standing : Standing
            As a listener gets it. [-]
        """
        self._waiting.cancel()
        if self._is_gone:
            return
        try:
            self._show(standing)
        except OSError:
            # a terminal that was closed in the night is no reason to end
            self._is_gone = True

    def _show(self, standing: Standing) -> None:
        if self.is_live:
            if self._bar is None:
                self._bar = tqdm(bar_format="{desc}", dynamic_ncols=True, leave=True)
            self._bar.set_description_str(standing_text(standing, _width()))
            return
        is_new_trouble = standing.trouble not in {"", self._trouble}
        self._trouble = standing.trouble
        if is_new_trouble or monotonic() - self._said >= _LINE_EVERY:
            self._said = monotonic()
            print(standing_text(standing), file=sys.stderr, flush=True)
