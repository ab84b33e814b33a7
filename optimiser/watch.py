"""A run as it goes on: told to whoever listens, noted, and kept from time to time."""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from time import monotonic, sleep

from optimiser.budget import Budget
from optimiser.checkpoint import add_history, write_checkpoint
from optimiser.course import Course
from optimiser.state import Progress
from optimiser.store import Run

#: Time between two checkpoints. [s]
CHECKPOINT_EVERY = 20.0
#: Time between two tries of the last one, where it cannot be written. [s]
_TRY_AGAIN = 5.0
#: Time between two words to a listener. [s]
_TELL_EVERY = 0.25
#: The hypervolume takes at most this share of the time.
_HYPERVOLUME_SHARE = 0.02
#: The rate is taken over this many words to a listener.
_RATE_OVER = 40
#: Lines of the history lie this far apart, and this much further as a run goes on,
#: but never further than this. [s, -, s]
_HISTORY_STEP, _HISTORY_GROWTH, _HISTORY_MOST = 0.25, 1.03, 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """Where a run stands, for whoever listens."""

    progress: Progress
    hypervolume: float  #: share of the box [-]
    rate: float | None  #: evaluations per second of late; None until known [1/s]
    budget: Budget
    is_stopping: bool  #: it was asked to stop and writes what it has
    trouble: str  #: what does not work, if anything; the run goes on all the same
    writing: str = ""  #: how far the front is written, once the search is over

    @property
    def left(self) -> float | None:
        """Time until a budget is spent; None where it is not known [s]."""
        progress, left = self.progress, []
        if self.budget.evaluations is not None and self.rate:
            rest = self.budget.evaluations - progress.evaluations
            left.append(rest / self.rate)
        if self.budget.seconds is not None:
            left.append(self.budget.seconds - progress.seconds)
        return max(min(left), 0.0) if left else None


Listener = Callable[[Standing], None]


class Watch:
    """Looks at a course after each step: tells, notes, writes, stops."""

    def __init__(
        self,
        run: Run,
        course: Course,
        wishes: Callable[[], int],
        listener: Listener | None,
    ) -> None:
        self.run, self.course, self.wishes = run, course, wishes
        self.listener = listener
        self.written = self.told = monotonic()
        #: evaluations that are on disk
        self.kept = course.progress.evaluations
        self.next_line = 0.0
        self.hypervolume = course.hypervolume()
        self.next_hypervolume = 0.0
        self.trouble = self.writing = ""
        # the first step may have waited for the compiler, so it is the start
        self.marks: deque[tuple[int, float]] = deque(maxlen=_RATE_OVER)

    def _rate(self) -> float | None:
        progress = self.course.progress
        if not self.marks or progress.seconds <= self.marks[0][1]:
            return None
        evaluations, seconds = self.marks[0]
        return (progress.evaluations - evaluations) / (progress.seconds - seconds)

    def on_step(self) -> bool:
        """Tell, note and keep what is due.

        Returns
        -------
        is_to_go_on : bool
            Unless somebody wished to stop. [-]
        """
        now = monotonic()
        progress = self.course.progress
        if now >= self.next_hypervolume:
            self.hypervolume = self.course.hypervolume()
            took = monotonic() - now
            self.next_hypervolume = now + max(_TELL_EVERY, took / _HYPERVOLUME_SHARE)
            if progress.seconds >= self.next_line:
                self.note()
                spent = progress.seconds + _HISTORY_STEP
                self.next_line = min(
                    spent * _HISTORY_GROWTH, spent - _HISTORY_STEP + _HISTORY_MOST
                )
        if now - self.written >= CHECKPOINT_EVERY:
            try:
                self._write()
            except OSError as error:
                # the search is worth more than this checkpoint; the next may do
                self.trouble = _failed(error)
            self.written = monotonic()
        if now - self.told >= _TELL_EVERY or not self.marks:
            self.tell()
            self.told = now
            self.marks.append((progress.evaluations, progress.seconds))
        return not self.wishes()

    def keep(self) -> None:
        """Write the last checkpoint; where it fails, wait for room and try again.

        Raises
        ------
        OSError
            Where nothing would be lost by it, or somebody wished to wait no longer.
        """
        wishes = self.wishes()
        while True:
            try:
                self._write()
            except OSError as error:
                left = self.course.progress.evaluations - self.kept
                if left == 0:
                    raise
                if self.wishes() > wishes:
                    error.add_note(f"{left:,} evaluations since the last one are lost")
                    raise
                self.trouble = (
                    f"{error.strerror}: {left:,} evaluations are not on disk; Ctrl-C "
                    "gives them up"
                )
                self.tell()
                until = monotonic() + _TRY_AGAIN
                while monotonic() < until and self.wishes() == wishes:
                    sleep(0.1)
            else:
                return

    def _write(self) -> None:
        write_checkpoint(self.run, self.course)
        self.trouble = ""
        self.kept = self.course.progress.evaluations

    def _standing(self) -> Standing:
        return Standing(
            progress=self.course.progress,
            hypervolume=self.hypervolume,
            rate=self._rate(),
            budget=self.run.budget,
            is_stopping=self.wishes() > 0,
            trouble=self.trouble or self.course.trouble,
            writing=self.writing,
        )

    def on_design(self, done: int, total: int) -> None:
        """Tell how far the front is written, now and then.

        Parameters
        ----------
        done, total : int
            Designs. [-]
        """
        now = monotonic()
        is_over = done == total
        if is_over or now - self.told >= _TELL_EVERY:
            words = "" if is_over else f"writing design {done:,} of {total:,}"
            self.tell_what(words)
            self.told = now

    def tell_what(self, words: str) -> None:
        """Tell what is done, once the search is over.

        Parameters
        ----------
        words : str
            In a few words. [-]
        """
        self.writing = words
        self.tell()

    def tell(self, *, is_last: bool = False) -> None:
        """Tell the listener where the run stands.

        Parameters
        ----------
        is_last : bool
            The hypervolume is taken anew. [-]
        """
        if is_last:
            self.hypervolume = self.course.hypervolume()
        if self.listener is not None:
            self.listener(self._standing())

    def note(self) -> None:
        """Add a line to the history."""
        standing = self._standing()
        add_history(
            self.run,
            standing.progress,
            standing.rate,
            standing.hypervolume,
            standing.left,
        )


def _failed(error: OSError) -> str:
    return f"{error.strerror}: no checkpoint ({error.filename})"
