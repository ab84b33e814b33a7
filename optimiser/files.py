"""Files that are either whole or not there."""

import os
import tempfile
from pathlib import Path

import pandas as pd


def write_bytes(path: Path, content: bytes, *, is_new: bool = False) -> Path:
    """Write a file under a temporary name, then give it its own.

    Parameters
    ----------
    path : Path
        File to write; its folder is made where it is missing. [-]
    content : bytes
        What it holds. [-]
    is_new : bool
        Whether it must not be there yet. [-]

    Returns
    -------
    path : Path
        The same path. [-]

    Raises
    ------
    OSError
        With the path, if it cannot be written; an older file is then as it was.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(
            dir=path.parent, prefix=f".{path.name}.", suffix=".part"
        )
        temporary = Path(name)
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(content)
                stream.flush()
                os.fsync(stream.fileno())
            # a temporary file is private to its maker; what replaces it need not be
            temporary.chmod(0o644)
            if is_new:
                # a link is refused where the name is taken, whoever was quicker
                path.hardlink_to(temporary)
                temporary.unlink()
            else:
                temporary.replace(path)
        except BaseException:
            temporary.unlink(missing_ok=True)
            raise
    except OSError as error:
        if error.errno is None:
            raise
        # people know the file by its own name, and a full disk names none
        raise OSError(error.errno, error.strerror, str(path)) from error
    return path


def write_text(path: Path, text: str) -> Path:
    """Write a text file in UTF-8 under a temporary name, then give it its own.

    Parameters
    ----------
    path : Path
        File to write; its folder is made where it is missing. [-]
    text : str
        What it holds. [-]

    Returns
    -------
    path : Path
        The same path. [-]
    """
    return write_bytes(path, text.encode("utf-8"))


def write_new_text(path: Path, text: str) -> Path:
    """Write a text file that must not be there yet.

    Parameters
    ----------
    path : Path
        File to write. [-]
    text : str
        What it holds. [-]

    Returns
    -------
    path : Path
        The same path. [-]

    Raises
    ------
    FileExistsError
        If it is there; it is then as it was.
    """
    return write_bytes(path, text.encode("utf-8"), is_new=True)


def write_table(path: Path, table: pd.DataFrame) -> Path:
    """Write a table as CSV under a temporary name, then give it its own.

    Parameters
    ----------
    path : Path
        File to write; its folder is made where it is missing. [-]
    table : DataFrame
        Columns named with their unit; what is missing is left empty. [-]

    Returns
    -------
    path : Path
        The same path. [-]
    """
    return write_text(path, table.to_csv(index=False, lineterminator="\n"))
