"""The few exceptions of the package, and how a fault of an input file reads.

Everything a user can get wrong in a file ends as `InputError`, which carries all the
faults of that file at once; its text is made to be printed as it is.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

#: how many valid names are listed before the list is cut short
_LISTED_NAMES = 8


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with an input file.

    The value is kept as text, the way its author wrote it, since it may be anything.
    """

    where: str  #: table, flag or row, such as '[shaft]' or 'flag 3 "tip"'; may be empty
    key: str | None  #: key or column
    value: str | None  #: value as written in the file
    message: str  #: what is wrong, then what is allowed

    def __str__(self) -> str:
        place = self.where
        if self.key is not None:
            place = f"{place}, {self.key}" if place else self.key
        if self.value is not None:
            place = f"{place} = {self.value}" if place else self.value
        return f"{place}: {self.message}" if place else self.message


class InputError(Exception):
    """An input that cannot be used, with every fault found in it.

    Parameters
    ----------
    source : str
        File, folder or design as its user named it. [-]
    faults : sequence of Fault
        What is wrong, in the order of the file. [-]
    """

    def __init__(self, source: str, faults: Sequence[Fault]) -> None:
        # both go to args, so that the exception survives pickling between processes
        super().__init__(source, tuple(faults))
        self.source = source
        self.faults = tuple(faults)

    def __str__(self) -> str:
        n = len(self.faults)
        head = f"{self.source}: {n} problem{'' if n == 1 else 's'}"
        return "\n".join([head, *(f"  {fault}" for fault in self.faults)])


class ModelRangeError(ValueError):
    """Numbers handed to a model function lie outside what it can compute."""


def nearest(word: str, allowed: Iterable[str]) -> str | None:
    """Valid name that looks most like a given word.

    Parameters
    ----------
    word : str
        Name as written. [-]
    allowed : iterable of str
        Valid names. [-]

    Returns
    -------
    name : str or None
        The nearest valid name, None if nothing is near. [-]
    """
    names = list(allowed)
    by_folded = {name.casefold(): name for name in names}
    close = difflib.get_close_matches(word.casefold(), by_folded, n=1, cutoff=0.6)
    return by_folded[close[0]] if close else None


def suggestion(word: str, allowed: Iterable[str]) -> str:
    """Sentence that helps with a name that is not known.

    Parameters
    ----------
    word : str
        Name as written. [-]
    allowed : iterable of str
        Valid names. [-]

    Returns
    -------
    sentence : str
        "Did you mean 'angle'?", or the valid names if nothing is near. [-]

    Examples
    --------
    >>> suggestion("angel", ["angle", "start", "end"])
    "Did you mean 'angle'?"
    >>> suggestion("colour", ["start", "end"])
    'Allowed: end, start.'
    """
    names = sorted(set(allowed))
    best = nearest(word, names)
    if best is not None:
        return f"Did you mean '{best}'?"
    if not names:
        return "There is nothing to choose from."
    shown = ", ".join(names[:_LISTED_NAMES])
    rest = len(names) - _LISTED_NAMES
    return f"Allowed: {shown}{f' and {rest} more' if rest > 0 else ''}."
