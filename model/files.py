"""Text files as they come from a user: read whole, or refused with the reason."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from model.errors import Fault, InputError, nearest

#: larger files are not read; a library of a thousand prepregs has a tenth of it
MAX_BYTES: Final = 2_000_000


def read_text(path: Path) -> str:
    """Text of a file.

    Parameters
    ----------
    path : Path
        File to read. [-]

    Returns
    -------
    text : str
        Its text, without byte order mark and carriage returns. [-]

    Raises
    ------
    InputError
        If it is missing, a folder, unreadable, binary, not UTF-8 or empty.
    """
    try:
        if path.is_dir():
            raise _unreadable(path, "a folder, not a file.")
        if path.exists() and path.stat().st_size > MAX_BYTES:
            raise _unreadable(
                path, f"larger than {MAX_BYTES // 1_000_000} MB, so not read."
            )
        data = path.read_bytes()
    except FileNotFoundError:
        raise _unreadable(path, f"no such file.{_near_file(path)}") from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise _unreadable(path, f"cannot be read: {str(reason).lower()}.") from None
    if b"\0" in data:
        raise _unreadable(path, "a binary file. A text file is wanted.")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise _unreadable(
            path, f"line {line} is not UTF-8 text. Save the file as UTF-8."
        ) from None
    if not text.strip():
        raise _unreadable(path, "empty.")
    return text.replace("\r\n", "\n")


def _unreadable(path: Path, message: str) -> InputError:
    return InputError(str(path), [Fault("", None, None, message)])


def _near_file(path: Path) -> str:
    """Hint at a file of nearly the same name in the same folder."""
    try:
        near = nearest(path.name, [entry.name for entry in path.parent.iterdir()])
    except (OSError, ValueError):
        return ""
    return f" Did you mean '{near}'?" if near else ""
