"""The command line: finds the command that is asked for, runs it, says what failed."""

import sys
from collections.abc import Sequence
from importlib import import_module
from importlib.metadata import version
from typing import Any

from model import InputError
from optimiser.outcome import BAD_INPUT, DONE, FAILED, INTERRUPTED
from optimiser.terminal import (
    Command,
    Parser,
    abandon_stdout,
    parse,
    prepare_streams,
    say_error,
)

#: Where each command is, and what it is for.
_COMMANDS = {
    "demo": ("demo_command", "search, review and sheet of a packaged scenario"),
    "check": (
        "file_commands",
        "validate a spec, a design, a library or a run folder",
    ),
    "evaluate": ("file_commands", "predict what a design measures"),
    "bench": ("bench_command", "what the bench should read of a design"),
    "accuracy": (
        "accuracy_command",
        "hold what is computed against published numbers",
    ),
    "search": ("search_commands", "search a target spec into a run folder"),
    "resume": ("search_commands", "go on with a run"),
    "review": ("run_commands", "page to choose a design of a run from"),
    "compare": ("compare_command", "what differs between two designs, or runs"),
    "nudge": ("run_commands", "what small shifts do to designs of a run"),
    "sheet": (
        "sheet_command",
        "layup sheet, workbook, patterns, lays, bill of a design",
    ),
    "explain": ("hand_commands", "what each flag of a design contributes"),
    "try": ("hand_commands", "change a design and see what it would measure"),
    "open": ("open_command", "change a design on a page of this machine"),
}


class _CommandParser(Parser):
    """Takes its arguments from the command's module once the command is asked for.

    So no command waits for the libraries of another.
    """

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """Parse (see `argparse.ArgumentParser`)."""
        name = self.prog.split()[-1]
        module = import_module(f"optimiser.{_COMMANDS[name][0]}")
        command: Command = module.COMMANDS[name]
        command.add_arguments(self)
        self.set_defaults(run_command=command.run, parser=self)
        return super().parse_known_args(args, namespace)


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
        dest="command", required=True, metavar="COMMAND", parser_class=_CommandParser
    )
    for name, (_, text) in _COMMANDS.items():
        commands.add_parser(name, help=text, description=text, allow_abbrev=False)
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
        status: int = parsed.run_command(parsed)
        sys.stdout.flush()
    except SystemExit as stop:
        return int(stop.code or 0)
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
