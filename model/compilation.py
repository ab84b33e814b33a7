"""How the numerical core is compiled.

The functions of the core are plain Python over arrays, compiled by numba. Only the
entry points keep their machine code on disk; ``SOURCES`` is a closure variable of
each entry, so that an edit to any module of the package makes a new entry in the
cache (numba itself watches only the file that holds the entry).
"""

import hashlib
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

from llvmlite.binding import get_host_cpu_name
from numba import njit

Function = TypeVar("Function", bound=Callable[..., Any])

#: Sums may be reordered and multiply-adds fused; NaN and infinity keep their meaning.
_ARITHMETIC = {"reassoc", "contract", "arcp", "nsz"}
#: Without counts of references to arrays; an option that numba's own types leave out.
_LEAN: dict[str, Any] = {"_nrt": False}


def fingerprint(folder: Path) -> int:
    """Number that changes with any Python source of a package.

    Parameters
    ----------
    folder : Path
        Folder of the package. [path]

    Returns
    -------
    number : int
        First 60 bits of a SHA-256 over the sources. [-]
    """
    digest = hashlib.sha256()
    for path in sorted(folder.glob("*.py")):
        digest.update(path.name.encode())
        digest.update(path.read_bytes())
    return int(digest.hexdigest()[:15], 16)


def processor() -> str:
    """Kind of processor that machine code is made for.

    Another kind may sum in another order, and differ in the last digits.

    Returns
    -------
    name : str
        As the compiler calls it. [-]
    """
    return os.environ.get("NUMBA_CPU_NAME") or str(get_host_cpu_name())


#: Fingerprint of this package's sources.
SOURCES = fingerprint(Path(__file__).parent)


def compiled(function: Function) -> Function:
    """Compile a function of the core; it is inlined into the entry that calls it.

    Were it called instead, an entry just compiled would call the function's own machine
    code, and one loaded from disk a copy made for that entry; the two may round
    differently, and a resumed run would leave the path of an uninterrupted one.

    Parameters
    ----------
    function : callable
        Function over numbers and arrays. [-]

    Returns
    -------
    function : callable
        The same function, compiled at its first call. [-]
    """
    wrap = njit(error_model="numpy", fastmath=_ARITHMETIC, forceinline=True)
    return cast(Function, wrap(function))


def compiled_lean(function: Function) -> Function:
    """Compile a function that makes no arrays; inlined, and counts no references.

    Parameters
    ----------
    function : callable
        Function over numbers and arrays. [-]

    Returns
    -------
    function : callable
        The same function, compiled at its first call. [-]
    """
    wrap = njit(error_model="numpy", fastmath=_ARITHMETIC, forceinline=True, **_LEAN)
    return cast(Function, wrap(function))


def compiled_stage(function: Function) -> Function:
    """Compile a stage of the core into the body of the function that calls it.

    A call that hands over the many arrays of an evaluation counts references to each
    of them, which costs more than some stages themselves.

    Parameters
    ----------
    function : callable
        Function over named tuples of arrays. [-]

    Returns
    -------
    function : callable
        The same function, to be called from compiled functions. [-]
    """
    wrap = njit(error_model="numpy", fastmath=_ARITHMETIC, inline="always", **_LEAN)
    return cast(Function, wrap(function))


def compiled_entry(function: Function) -> Function:
    """Compile an entry point, with its machine code kept on disk.

    Parameters
    ----------
    function : callable
        Function that closes over a fingerprint of the sources. [-]

    Returns
    -------
    function : callable
        The same function, loaded from disk or compiled at its first call. [-]
    """
    wrap = njit(error_model="numpy", fastmath=_ARITHMETIC, cache=True)
    return cast(Function, wrap(function))


def compiled_lean_entry(function: Function) -> Function:
    """Compile an entry point that makes no arrays, kept on disk.

    It counts no references to the arrays that it is given, which cost as much as all
    of the arithmetic of an evaluation.

    Parameters
    ----------
    function : callable
        Function that closes over a fingerprint of the sources. [-]

    Returns
    -------
    function : callable
        The same function, loaded from disk or compiled at its first call. [-]
    """
    wrap = njit(error_model="numpy", fastmath=_ARITHMETIC, cache=True, **_LEAN)
    return cast(Function, wrap(function))
