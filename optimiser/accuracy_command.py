"""The command that holds what is computed against published numbers."""

import argparse
from typing import Any

from optimiser.accuracy import (
    accuracy_json,
    accuracy_rows,
    accuracy_text,
    is_accurate,
)
from optimiser.outcome import DONE, FAILED
from optimiser.terminal import Command, add_library_and_json, say, say_json


def _add_accuracy(accuracy: Any) -> None:
    add_library_and_json(accuracy, library=False)


def _accuracy(arguments: argparse.Namespace) -> int:
    rows = accuracy_rows()
    if arguments.json:
        say_json(accuracy_json(rows))
    else:
        say(accuracy_text(rows))
    return DONE if is_accurate(rows) else FAILED


COMMANDS = {"accuracy": Command(_add_accuracy, _accuracy)}
