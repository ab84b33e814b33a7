"""Who does the work of islands: this process, processes beside it, or a cluster.

A crew is given pure functions under a key, and hands back what they gave. It may do
them in any order and do them again where a worker was lost; who relies on the results
does not rely on the order.
"""

import logging
import os
import signal
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    CancelledError,
    Executor,
    Future,
    wait,
)
from contextlib import contextmanager
from functools import partial
from typing import Any, Protocol

from model import Fault, InputError

#: A stint of a worker is about so long, so that little is lost and a wish is heard. [s]
STINT = 4.0
#: The same where it is done in this process, which is then deaf as long. [s]
STINT_ALONE = 0.5
#: Longest wait for a result, so that a listener hears something. [s]
_WAIT = 0.25
#: So many times in a row workers may be lost without one result.
_LOSSES_MOST = 4
#: A worker process that has had nothing to do for so long ends. [s]
_IDLE = 120.0
_WATCH_EVERY = 0.5
#: For so long a cluster is given to answer, and to come back. [s]
_ANSWER, _RETURN = 10.0, 60.0
#: For so long without a result one asks whether a cluster has workers at all. [s]
_DOUBT = 5.0

Work = tuple[Callable[..., Any], tuple[Any, ...]]


class CrewLostError(Exception):
    """Nobody is left to do the work; says why."""


class _OtherProgramError(Exception):
    """A worker would give other results than the rest; holds its address."""


class Crew(Protocol):
    """Does pure functions for somebody who waits."""

    size: int  #: how many it does at once
    stint: float  #: how long one should take [s]
    trouble: str  #: what it waits for, if anything
    where: str  #: in words

    def submit(self, key: int, function: Callable[..., Any], *arguments: Any) -> None:
        """Have a function done."""

    def finished(self) -> list[tuple[int, Any]]:
        """Results since the last call; waits for one, but not long."""

    def abandon(self) -> None:
        """Forget what is being done."""


class Alone:
    """One after the other in this process, when it is asked for results."""

    size = 1
    stint = STINT_ALONE
    trouble = ""
    where = "this process"

    def __init__(self) -> None:
        self._asked: deque[tuple[int, Work]] = deque()

    def submit(self, key: int, function: Callable[..., Any], *arguments: Any) -> None:
        """Have a function done.

        Parameters
        ----------
        key : int
            What its result is known by. [-]
        function : callable
            Pure. [-]
        *arguments
            Its arguments. [-]
        """
        self._asked.append((key, (function, arguments)))

    def finished(self) -> list[tuple[int, Any]]:
        """Do one, and give its result.

        Returns
        -------
        results : list of (int, Any)
            At most one, with its key. [-]
        """
        if not self._asked:
            return []
        key, (function, arguments) = self._asked.popleft()
        return [(key, function(*arguments))]

    def abandon(self) -> None:
        """Forget what is left."""
        self._asked.clear()


class _Pool:
    """Work that others do, kept until it is done so that it can be given out again."""

    stint = STINT

    def __init__(self, size: int, where: str) -> None:
        self.size = size
        self.where = where
        self.trouble = ""
        self._asked: dict[int, Work] = {}
        self._futures: dict[Future[Any], int] = {}
        self._losses = 0
        self._is_broken = False

    def _executor(self) -> Executor:
        raise NotImplementedError

    def _is_ready(self) -> bool:
        """Whether work can be given out again after a loss."""
        return True

    def _look_around(self) -> None:
        """Nothing came: see whether that is for a reason."""

    def _set_aside(self, worker: str) -> None:
        """Give a worker no more work."""
        raise NotImplementedError

    def submit(self, key: int, function: Callable[..., Any], *arguments: Any) -> None:
        """Have a function done.

        Parameters
        ----------
        key : int
            What its result is known by. [-]
        function : callable
            Pure; it may be done twice. [-]
        *arguments
            Its arguments. [-]
        """
        self._asked[key] = (function, arguments)
        if not self._is_broken:
            self._give_out(key)

    def _give_out(self, key: int) -> None:
        function, arguments = self._asked[key]
        try:
            self._futures[self._executor().submit(function, *arguments)] = key
        except (BrokenExecutor, RuntimeError):
            self._is_broken = True

    def finished(self) -> list[tuple[int, Any]]:
        """Results that have come since; waits for one, but not long.

        Returns
        -------
        results : list of (int, Any)
            With their keys. [-]

        Raises
        ------
        CrewLostError
            If workers are lost again and again.
        """
        done, _ = wait(self._futures, timeout=_WAIT, return_when=FIRST_COMPLETED)
        results = []
        for future in done:
            key = self._futures.pop(future)
            try:
                results.append((key, future.result()))
            except (BrokenExecutor, CancelledError):
                self._is_broken = True
                continue
            except _OtherProgramError as error:
                self._set_aside(str(error))
                self._give_out(key)
                continue
            self._asked.pop(key, None)
        if results:
            self._losses, self.trouble = 0, ""
        elif not self._is_broken:
            self._look_around()
        if self._is_broken:
            self._start_again()
        return results

    def _start_again(self) -> None:
        """Give out again whatever was lost."""
        if not self._is_ready():
            time.sleep(_WAIT)
            return
        self._losses += 1
        if self._losses > _LOSSES_MOST:
            raise CrewLostError(
                f"workers of {self.where} were lost {self._losses} times in a row; "
                "they may be out of memory"
            )
        self._is_broken = False
        self._futures.clear()
        for key in list(self._asked):
            self._give_out(key)

    def abandon(self) -> None:
        """Forget what is being done."""
        for future in self._futures:
            future.cancel()
        self._futures.clear()
        self._asked.clear()


# ------------------------------------------------------------------------- processes


def _settle_in(parent: int) -> None:
    """Begin as a worker process: leave signals to the parent, and end with it."""
    for name in ("SIGINT", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(_WATCH_EVERY)
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


class _Processes(_Pool):
    def __init__(self, size: int) -> None:
        super().__init__(size, f"{size} processes")
        self._pool: Any = None

    def _executor(self) -> Executor:
        # takes its time, and most commands need none
        from joblib.externals.loky import get_reusable_executor

        # the same one as before, or a new one where that is broken
        self._pool = get_reusable_executor(
            max_workers=self.size,
            timeout=_IDLE,
            initializer=_settle_in,
            initargs=(os.getpid(),),
        )
        pool: Executor = self._pool
        return pool

    def warm_up(self, function: Callable[[], Any]) -> None:
        """Have a function done in each process, as far as they share it out."""
        pool = self._executor()
        wait([pool.submit(function) for _ in range(self.size)])

    def close(self) -> None:
        """End the processes, whatever they do."""
        self.abandon()
        if self._pool is not None:
            self._pool.shutdown(wait=True, kill_workers=True)


@contextmanager
def processes(size: int, warm_up: Callable[[], Any]) -> Iterator[Crew]:
    """Worker processes beside this one, kept from one piece of work to the next.

    Parameters
    ----------
    size : int
        How many; with one, this process does the work. [-]
    warm_up : callable
        Done in the processes before the work. [-]

    Yields
    ------
    crew : Crew
        They end with this context. [-]
    """
    if size == 1:
        yield Alone()
        return
    crew = _Processes(size)
    try:
        crew.warm_up(warm_up)
        yield crew
    finally:
        crew.close()


# --------------------------------------------------------------------------- cluster


def _on_same_footing(
    footing: Callable[[], dict[str, str]],
    here: dict[str, str],
    function: Callable[..., Any],
    arguments: tuple[Any, ...],
) -> Any:
    """Do a function, unless this worker would give other results than the rest."""
    if footing() != here:
        from distributed import get_worker

        raise _OtherProgramError(get_worker().address)
    return function(*arguments)


class _Cluster(_Pool):
    def __init__(
        self,
        client: Any,
        address: str,
        size: int,
        footing: Callable[[], dict[str, str]],
    ) -> None:
        super().__init__(size, f"the cluster at {address}")
        self._footing = footing
        self._client = client
        self._pool = client.get_executor(pure=False, retries=_LOSSES_MOST)
        #: workers that joined later, with another program
        self._others: set[str] = set()
        self._lost_since: float | None = None
        self._heard = time.monotonic()

    def _executor(self) -> Executor:
        pool: Executor = self._pool
        return pool

    def _set_aside(self, worker: str) -> None:
        self._others.add(worker)
        rest = sorted(set(self._client.nthreads()) - self._others)
        if not rest:
            raise CrewLostError(
                f"all workers that are left of {self.where} joined it later and run "
                "another program than the rest did"
            )
        # others too where the rest is lost, so that somebody says so
        self._pool = self._client.get_executor(
            pure=False, retries=_LOSSES_MOST, workers=rest, allow_other_workers=True
        )

    def submit(self, key: int, function: Callable[..., Any], *arguments: Any) -> None:
        here = self._footing()
        work = (self._footing, here, function, arguments)
        super().submit(key, _on_same_footing, *work)

    def finished(self) -> list[tuple[int, Any]]:
        try:
            results = super().finished()
        except (CrewLostError, InputError):
            raise
        except (ImportError, AttributeError) as error:
            message = f"a worker cannot run this program ({_first_line(error)})"
            raise CrewLostError(f"{self.where}: {message}") from error
        except Exception as error:
            # what a worker raises comes in the cluster's own wrappings
            if "distributed" in type(error).__module__:
                raise CrewLostError(f"{self.where}: {_first_line(error)}") from error
            raise
        if results:
            self._heard = time.monotonic()
        return results

    def _is_ready(self) -> bool:
        if self._client.status == "running":
            self._lost_since = None
            return True
        now = time.monotonic()
        self._lost_since = self._lost_since or now
        if self._client.status == "closed" or now - self._lost_since > _RETURN:
            raise CrewLostError(f"{self.where} no longer answers")
        self.trouble = "waiting for the cluster"
        return False

    def _look_around(self) -> None:
        if self._client.status != "running":
            self._is_broken = True
            return
        if time.monotonic() - self._heard < _DOUBT:
            return
        self._heard = time.monotonic()
        try:
            has_workers = bool(self._client.nthreads())
        except Exception:  # noqa: BLE001 - whatever it is, the next look will tell
            return
        self.trouble = "" if has_workers else "waiting for workers of the cluster"


def _first_line(error: BaseException) -> str:
    return (str(error).strip() or type(error).__name__).splitlines()[0]


@contextmanager
def cluster(
    address: str, footing: Callable[[], dict[str, str]], warm_up: Callable[..., Any]
) -> Iterator[Crew]:
    """Workers of a Dask cluster that runs already.

    Parameters
    ----------
    address : str
        Of its scheduler, such as ``tcp://10.0.0.5:8786``. [-]
    footing : callable
        What must be the same on every worker for the same results. [-]
    warm_up : callable
        Done once on each worker before the work. [-]

    Yields
    ------
    crew : Crew
        The cluster itself goes on when this context ends. [-]

    Raises
    ------
    InputError
        If there is no such cluster, it has no workers, or they are not alike.
    """
    try:
        import distributed
    except ImportError as error:
        message = "Dask is not installed. Install it:  pip install 'plyfront[cluster]'"
        raise _cluster_fault(address, message) from error
    logging.getLogger("distributed").setLevel(logging.CRITICAL)
    connect: Any = partial(distributed.Client, timeout=_ANSWER, set_as_default=False)
    try:
        try:
            client = connect(address)
        except AssertionError:
            # its thread had not begun within ten seconds: this machine is busy
            client = connect(address)
    except (AssertionError, OSError, ValueError, TimeoutError) as error:
        message = (
            f"no cluster answers there ({_first_line(error)}). Give the address that "
            "its scheduler prints, such as tcp://10.0.0.5:8786."
        )
        raise _cluster_fault(address, message) from error
    try:
        threads = client.nthreads()
        if not threads:
            message = (
                "the cluster has no workers. Start some:  dask worker ADDRESS "
                "--nthreads 1"
            )
            raise _cluster_fault(address, message)
        _check_footing(client, address, list(threads), footing)
        _on_each(client, list(threads), warm_up)
        crew = _Cluster(client, address, sum(threads.values()), footing)
        try:
            yield crew
        finally:
            crew.abandon()
    finally:
        client.close(timeout=_ANSWER)


def _cluster_fault(address: str, message: str) -> InputError:
    return InputError(f"--cluster {address}", [Fault("", None, None, message)])


def _on_each(
    client: Any, workers: list[str], function: Callable[..., Any]
) -> dict[str, Any]:
    """Results of a function on each worker, in a thread that may take its time."""
    asked = {
        worker: client.submit(function, pure=False, workers=[worker])
        for worker in workers
    }
    return {worker: future.result() for worker, future in asked.items()}


def _check_footing(
    client: Any, address: str, workers: list[str], footing: Callable[[], dict[str, str]]
) -> None:
    """Refuse workers that would give other results than this machine."""
    here = footing()
    try:
        there = _on_each(client, workers, footing)
    except (ImportError, AttributeError) as error:
        message = (
            f"its workers cannot run this program ({_first_line(error)}). Install the "
            "same plyfront there."
        )
        raise _cluster_fault(address, message) from error
    faults = [
        Fault(
            "",
            worker,
            None,
            f"{name} is {found.get(name, 'missing')} there and {value} here. Install "
            "the same on both.",
        )
        for worker, found in there.items()
        for name, value in here.items()
        if found.get(name) != value
    ]
    if faults:
        raise InputError(f"--cluster {address}", faults)


def usable_processors() -> int:
    """Processors that this process may use.

    Returns
    -------
    n : int
        At least one. [-]
    """
    if sys.platform == "linux":
        return max(len(os.sched_getaffinity(0)), 1)
    return os.cpu_count() or 1
