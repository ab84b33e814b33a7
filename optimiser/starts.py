"""What a search is started from: genomes of designs at hand, and flags that are held.

They are part of the run's record, so that a run that is killed before its first
checkpoint starts again from the same designs.
"""

import json
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model import Sheet, write_flag_angle
from optimiser.encoding import Encoding
from optimiser.spec import Place, Spec

IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """A flag that stays as it is in the design a search was started from."""

    place: str
    material: str
    angle: float  #: [rad]
    is_pair: bool
    start: float  #: [m]
    end: float  #: [m]
    wraps: float  #: [-]

    def __str__(self) -> str:
        """The flag in words."""
        ends = f"{self.start * 1e3:g} to {self.end * 1e3:g} mm"
        angle = write_flag_angle(self.angle, is_pair=self.is_pair)
        wraps = f"{self.wraps:g} wrap{'' if self.wraps == 1.0 else 's'}"
        return f"{self.material} {angle}°, {ends}, {wraps}"

    def hold(self, place: Place) -> Place:
        """The place with this flag as its only choice.

        Parameters
        ----------
        place : Place
            As the spec has it. [SI]

        Returns
        -------
        place : Place
            With one choice of everything. [SI]
        """
        return replace(
            place,
            sheets=(Sheet(self.material, self.angle, self.is_pair),),
            starts=(self.start,),
            ends=(self.end,),
            wraps=(self.wraps,),
            optional=False,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """A design at hand, as the search takes it."""

    source: str  #: file it was read from
    genome: tuple[int, ...] | None  #: None where the shop's rules leave none near it
    is_exact: bool  #: whether the search's design is the one given
    said: tuple[str, ...]  #: in what it differs, in words


@dataclass(frozen=True, slots=True, kw_only=True)
class Starts:
    """Everything that a search is started from."""

    designs: tuple[Start, ...] = ()
    held: tuple[Held, ...] = ()

    def genomes(self, encoding: Encoding) -> IntArray:
        """Genomes to be evaluated before all others, none twice.

        Parameters
        ----------
        encoding : Encoding
            Choices of the run. [-]

        Returns
        -------
        genomes : ndarray, shape (n, n_genes)
            In the order given. [-]

        Raises
        ------
        ValueError
            If they are genomes of another spec.
        """
        rows = dict.fromkeys(s.genome for s in self.designs if s.genome is not None)
        choices = encoding.n_choices
        if any(len(row) != len(choices) for row in rows):
            raise ValueError("its genomes are not of this spec")
        genomes = np.array(list(rows), dtype=np.int64).reshape(-1, len(choices))
        if ((genomes < 0) | (genomes >= choices)).any():
            raise ValueError("it holds choices that the spec does not give")
        return genomes

    def to_text(self) -> str:
        """The record as a JSON text, a line a design.

        Returns
        -------
        text : str
            For ``starts_from_text``. [-]
        """
        groups = []
        for name, items in (("held", self.held), ("designs", self.designs)):
            lines = [json.dumps(asdict(item), ensure_ascii=False) for item in items]
            groups.append(f'"{name}": [\n' + ",\n".join(lines) + "\n]")
        return "{\n" + ",\n".join(groups) + "\n}\n"


def starts_from_text(text: str) -> Starts:
    """Read a record.

    Parameters
    ----------
    text : str
        As given by ``Starts.to_text``. [-]

    Returns
    -------
    starts : Starts
        The same. [-]

    Raises
    ------
    ValueError, KeyError, TypeError
        If it is no such text.
    """
    words: Any = json.loads(text)
    designs = tuple(
        Start(
            source=str(item["source"]),
            genome=None if item["genome"] is None else tuple(map(int, item["genome"])),
            is_exact=bool(item["is_exact"]),
            said=tuple(map(str, item["said"])),
        )
        for item in words["designs"]
    )
    held = tuple(Held(**item) for item in words["held"])
    return Starts(designs=designs, held=held)


def with_held(spec: Spec, held: tuple[Held, ...]) -> Spec:
    """A spec whose places hold some flags.

    Parameters
    ----------
    spec : Spec
        As its file has it. [SI]
    held : tuple of Held
        Flags by place. [SI]

    Returns
    -------
    spec : Spec
        With one choice at those places. [SI]

    Raises
    ------
    ValueError
        If it has no such place.
    """
    by_place = {one.place: one for one in held}
    unknown = by_place.keys() - {place.name for place in spec.places}
    if unknown:
        raise ValueError(f"no place {min(unknown)} in the spec")
    places = (
        by_place[place.name].hold(place) if place.name in by_place else place
        for place in spec.places
    )
    return replace(spec, places=tuple(places))
