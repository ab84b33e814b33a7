"""A run under another library or another spec: its designs stay, and measure anew.

What has changed is counted in run.json, and the count stands in the checkpoint too. A
checkpoint with another count is of designs that are still to be measured; so wherever
such a change is cut off, the next sitting measures them, once.
"""

from dataclasses import fields, replace
from pathlib import Path

import numpy as np

from model import Fault, InputError, Library
from optimiser.checkpoint import (
    add_history,
    read_course,
    set_aside,
    write_checkpoint,
)
from optimiser.course import Course
from optimiser.encoding import encode
from optimiser.files import write_text
from optimiser.front import write_front
from optimiser.run_folder import CONDITIONS, FRONT, SPEC, SPECS
from optimiser.run_library import replace_library
from optimiser.search import Search
from optimiser.spec import Spec
from optimiser.spec_change import asked_otherwise, other_choices
from optimiser.spec_file import read_spec
from optimiser.starts import with_held
from optimiser.state import Designs
from optimiser.store import Run, write_about


def take_library(run: Run, library: Library) -> Course:
    """Put another library in the place of a run's copy; measure all designs with it.

    Parameters
    ----------
    run : Run
        The run, changed; its folder is locked. [-]
    library : Library
        The new one. [SI]

    Returns
    -------
    course : Course
        As it measures now. [-]

    Raises
    ------
    InputError
        If the spec does not go with that library; nothing is changed then.
    """
    spec = with_held(read_spec(run.folder / SPEC, library), run.starts.held)
    encode(spec, library)
    set_aside(run, read_course(run, encode(run.spec, run.library)))
    _count(run)
    replace_library(run, library)
    run.spec = replace(spec, search=run.spec.search)
    run.about.pop("library_changes", None)
    return read_course(run, encode(run.spec, library))


def read_other_spec(run: Run, path: Path) -> tuple[Spec, list[str], str]:
    """Read a spec that a run is to go on with; nothing is changed yet.

    Parameters
    ----------
    run : Run
        The run. [-]
    path : Path
        Spec file. [-]

    Returns
    -------
    spec : Spec
        Checked against the run's library. [SI]
    changes : list of str
        What it asks other than that of the run; none where it asks the same. [-]
    left : str
        What it says of the search itself, which is not taken; empty if the same. [-]

    Raises
    ------
    InputError
        With every fault of the file, or every choice that is not the run's.
    """
    new = read_spec(path, run.library)
    old = read_spec(run.folder / SPEC, run.library)
    faults = other_choices(old, new)
    if new.library_path is not None and new.library_path != old.library_path:
        named = str((path.parent / new.library_path).resolve())
        if named != run.about.get("library_folder"):
            message = (
                f"the run has {run.about.get('library_folder') or 'the packaged one'}."
                " Another library makes another run."
            )
            faults.append(Fault("", "library", f'"{new.library_path}"', message))
    if faults:
        why = (
            "choices that are not those of the run make another search; start it with "
            "plyfront search --start-from"
        )
        raise InputError(str(path), [*faults, Fault("", None, None, f"{why}.")])
    said = [
        field.name
        for field in fields(new.search)
        if getattr(new.search, field.name) != getattr(old.search, field.name)
    ]
    left = (
        f"not taken from {path}: {', '.join(said)} in [search]; a run keeps what it "
        "was started with, and takes --evaluations, --time and --stall"
    )
    return new, asked_otherwise(old, new), left if said else ""


def take_spec(run: Run, new: Spec, changes: list[str]) -> tuple[Course, str]:
    """Put another spec in the place of a run's; measure all designs against it.

    Parameters
    ----------
    run : Run
        The run, changed; its folder is locked. [-]
    new : Spec
        From ``read_other_spec``. [SI]
    changes : list of str
        What it asks otherwise. [-]

    Returns
    -------
    course : Course
        As it measures now; written, with its front. [-]
    words : str
        What became of the designs. [-]
    """
    course = read_course(run, encode(run.spec, run.library))
    before, evaluations = course.found().archive, course.progress.evaluations
    set_aside(run, course)
    former = _keep_former(run)
    stations = [point.station for point in run.spec.ei_targets]
    specs = [one for one in run.about.get(SPECS, []) if one["file"] != former]
    note = {"file": former, "evaluations": evaluations, "changes": changes}
    run.about[SPECS] = [*specs, note]
    run.about["spec"] = new.name
    _count(run)
    if stations != [point.station for point in new.ei_targets]:
        # its columns would be those of another spec until it is written anew
        (run.folder / FRONT).unlink(missing_ok=True)
    write_text(run.folder / SPEC, new.text)
    run.spec = with_held(replace(new, search=run.spec.search), run.starts.held)
    course = read_course(run, encode(run.spec, run.library))
    stay, miss = _what_stays(before, course)
    left = before.n - stay
    note |= {"designs": before.n, "left": left, "left_for_bands": miss}
    write_checkpoint(run, course)
    add_history(run, course.progress, None, course.hypervolume())
    write_front(run, course.found(), course.encoding)
    write_about(run)
    return course, _words(run, former, changes, before.n, left, miss)


def _words(
    run: Run, former: str, changes: list[str], n: int, left: int, miss: int
) -> str:
    lines = [f"the spec is another from here on; the former is kept as {former}"]
    lines += [f"  {change}" for change in changes]
    if n == 0:
        lines.append("no design was feasible before")
    elif left == 0:
        lines.append(f"all {n:,} designs of the front stay")
    else:
        why = f"{miss:,} miss what is asked now"
        if left > miss:
            why += f", {left - miss:,} are bettered by others"
        lines.append(
            f"{n - left:,} of {n:,} designs of the front stay, {left:,} left it: {why}"
        )
        lines.append(
            "  the run keeps them: under a spec that they keep, such as "
            f"{former}, they are back"
        )
    now = run.about["designs"]
    lines.append(f"{now:,} designs stand on the front now")
    return "\n".join(lines)


def _what_stays(before: Designs, course: Course) -> tuple[int, int]:
    """How many designs of an archive are in the new one; how many are infeasible."""
    found = course.found()
    now = {genome.tobytes() for genome in found.archive.genomes}
    stay = sum(genome.tobytes() in now for genome in before.genomes)
    gone = np.array([g.tobytes() not in now for g in before.genomes], dtype=np.bool_)
    measured = Search(course.encoding)._evaluate(before.genomes[gone])
    return stay, int((measured.violation > 0.0).sum())


def _count(run: Run) -> None:
    run.about[CONDITIONS] = run.about.get(CONDITIONS, 0) + 1
    write_about(run)


def forget_unfinished(run: Run) -> None:
    """Take back the note of a change of spec that was cut off before the spec changed.

    Parameters
    ----------
    run : Run
        The run, changed; its folder is locked. [-]
    """
    notes = run.about.get(SPECS, [])
    former = run.folder / notes[-1]["file"] if notes else None
    if former is None or not former.exists():
        return
    if former.read_bytes() == (run.folder / SPEC).read_bytes():
        run.about[SPECS] = notes[:-1]
        run.about["spec"] = run.spec.name
        write_about(run)
        former.unlink()


def _keep_former(run: Run) -> str:
    """Keep the spec under a number; give its name."""
    n = 1
    text = (run.folder / SPEC).read_bytes()
    while (path := run.folder / f"spec-{n}.toml").exists():
        if (
            path.read_bytes() == text
            and not (run.folder / f"spec-{n + 1}.toml").exists()
        ):
            return path.name  # kept by a sitting that was cut off
        n += 1
    write_text(path, text.decode("utf-8"))
    return path.name
