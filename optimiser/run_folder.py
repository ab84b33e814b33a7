"""The folder of a run: what lies in it under which name, and who may write to it."""

import errno
import fcntl
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Final

from model import Fault, InputError
from optimiser.spec import Spec

SPEC: Final = "spec.toml"
LIBRARY: Final = "library"
ABOUT: Final = "run.json"
FRONT: Final = "front.csv"
EXACT: Final = "exact.csv"
DESIGNS: Final = "designs"
HISTORY: Final = "history.csv"
CHECKPOINT: Final = "checkpoint.npz"
#: Designs of fronts under former specs and libraries.
ASIDE: Final = "aside.npz"
NEAREST: Final = "nearest.toml"
EXPLANATION: Final = "explanation.txt"
EXPLANATION_JSON: Final = "explanation.json"
STARTS: Final = "start.json"
#: Keys of run.json: how often library or spec were changed; the former specs.
CONDITIONS: Final = "conditions"
SPECS: Final = "specs"
LOCK: Final = ".lock"
#: Where a new library stands until it takes the place of the copy.
NEW_LIBRARY: Final = ".library.new"
OLD_LIBRARY: Final = ".library.old"
#: What a folder's name holds of a spec's at most; file systems allow some 250 bytes.
_NAME_MOST: Final = 60


def new_folder(spec: Spec, out: Path | None, now: datetime) -> Path:
    """Find where a new run goes.

    A folder under results/ is made at once, so that no other start takes its name.

    Parameters
    ----------
    spec : Spec
        A checked spec. [SI]
    out : Path or None
        Folder as asked; None for one under results/ named by spec and time. [-]
    now : datetime
        Time of the start. [-]

    Returns
    -------
    folder : Path
        Missing or empty. [-]

    Raises
    ------
    InputError
        If the folder is in use already.
    """
    if out is not None:
        refuse_used(out)
        return out
    stem = "".join(c if c.isalnum() or c in "-_" else "-" for c in spec.name)
    stem = f"{stem[:_NAME_MOST] or 'run'}-{now:%Y%m%d-%H%M%S}"
    folder = Path("results") / stem
    n = 1
    while True:
        try:
            folder.mkdir(parents=True)
        except FileExistsError:
            n += 1
            folder = folder.with_name(f"{stem}-{n}")
        except OSError:
            return folder  # what is the matter with it is said where it is locked
        else:
            return folder


def refuse_used(folder: Path) -> None:
    """Refuse a folder that holds something.

    Parameters
    ----------
    folder : Path
        Where a run is to go. [-]

    Raises
    ------
    InputError
        If it is a file, or not empty but for its lock.
    """
    if not folder.exists():
        return
    if not folder.is_dir():
        message = "is a file. Give a folder that is new or empty."
    elif any(path.name != LOCK for path in folder.iterdir()):
        message = "is there already and not empty. Give another --out, or resume it."
    else:
        return
    raise InputError(str(folder), [Fault("", None, None, message)])


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Hold a run folder against a second process.

    Parameters
    ----------
    folder : Path
        Folder of a run; made where it is missing. [-]

    Yields
    ------
    None
        While the lock is held. [-]

    Raises
    ------
    InputError
        If another process works on the folder.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        handle = (folder / LOCK).open("a")
    except OSError as error:
        why = f"cannot be written to: {str(error.strerror).lower()}"
        if error.errno == errno.EEXIST:
            why = "is a file, or within one"
        refused = OSError(error.errno, why, str(folder))
        refused.add_note("nothing was changed; a run needs a folder it can write to")
        raise refused from error
    # the system lets go of the lock when its process ends, however it ends
    with handle:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            if error.errno not in {errno.EWOULDBLOCK, errno.EACCES}:
                raise
            message = "another process works on this run. Wait for it, or stop it."
            fault = Fault("", None, None, message)
            raise InputError(str(folder), [fault]) from error
        yield


def sweep(folder: Path) -> None:
    """Take away what a killed process left half-written, in a folder that is locked.

    Parameters
    ----------
    folder : Path
        Folder of a run. [-]
    """
    for part in (folder, folder / DESIGNS, folder / LIBRARY):
        for path in part.glob(".*.part"):
            path.unlink(missing_ok=True)
    new = folder / NEW_LIBRARY
    if new.exists() and not (folder / LIBRARY).exists():
        new.rename(folder / LIBRARY)
    for path in (new, folder / OLD_LIBRARY):
        shutil.rmtree(path, ignore_errors=True)
