"""The copy of the library in a run folder, beside the one it was taken from."""

import shutil
from pathlib import Path

from model import InputError, Library, read_library
from optimiser.files import write_text
from optimiser.run_folder import LIBRARY, NEW_LIBRARY, OLD_LIBRARY
from optimiser.store import Run

#: How a change begins that leaves no library.
UNREADABLE = "cannot be read any more"


def read_origin(run: Run) -> Library:
    """The library that a run was started with, as it is now.

    Parameters
    ----------
    run : Run
        The run. [-]

    Returns
    -------
    library : Library
        Checked. [SI]

    Raises
    ------
    InputError
        If it is not there any more, or is faulty now.
    """
    folder = run.about.get("library_folder")
    return read_library(Path(folder) if folder else None)


def library_changes(run: Run) -> tuple[str, ...]:
    """What has changed in the library since a run was started with it.

    Parameters
    ----------
    run : Run
        The run, which has a copy of the library. [-]

    Returns
    -------
    changes : tuple of str
        In words, such as "prepregs: high-85 changed"; none where all is the same. [-]
    """
    if "library_folder" not in run.about:
        return ()  # an earlier version did not say where it was
    try:
        now = read_origin(run)
    except InputError as error:
        return (f"{UNREADABLE}: {' '.join(str(error).split())}",)
    changes = []
    for table in ("fibres", "resins", "prepregs", "mandrels", "price_breaks"):
        old, new = getattr(run.library, table), getattr(now, table)
        words = [
            f"{name} {'gone' if name not in new else 'changed'}"
            for name in old
            if name not in new or new[name] != old[name]
        ]
        words += [f"{name} new" for name in new if name not in old]
        if words:
            changes.append(f"{table.replace('_', ' ')}: {', '.join(words)}")
    if now.currency != run.library.currency:
        changes.append(f"currency: {now.currency}, was {run.library.currency}")
    return tuple(changes)


def replace_library(run: Run, library: Library) -> None:
    """Put another library in the place of a run's copy.

    Parameters
    ----------
    run : Run
        The run, changed; its folder is locked. [-]
    library : Library
        The new one. [SI]
    """
    new, old = run.folder / NEW_LIBRARY, run.folder / OLD_LIBRARY
    for name, text in library.files.items():
        write_text(new / name, text)
    (run.folder / LIBRARY).rename(old)
    new.rename(run.folder / LIBRARY)
    shutil.rmtree(old, ignore_errors=True)
    run.library = library
