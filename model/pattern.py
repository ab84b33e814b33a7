"""Flat shapes of the pieces of a shaft, as they are cut from the roll.

A piece is drawn as seen on its outer face, the one that looks away from the mandrel: u
runs along its straight edge from tip to butt, v across it in the direction in which it
is wound. The straight edge is the one that is laid on the mandrel first, along a line
of it; a trapezium cut with one straight edge is common practice.

What a turn needs is the circumference it lies on. A piece of n turns that begins at the
radius a and ends at the radius b is a spiral of length n π (a + b), which is its width.
On a cone the lines of equal station are arcs about the apex of its development, an
annular sector. A piece is developed on its *mean cone*, through the mean radius of its
turns at either end of its full turns: widths become arcs, so its area stays what it is,
and on a cone the shape is exact. A piece cut square at its ends instead has the same
area, but its ends then run out of square on the shaft.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from model.design import Cutting, Flag
from model.library import Library
from model.report import FlagReport, Report
from model.wall import SAME_STATION

Array = NDArray[np.float64]
Ends = Literal["developed", "square"]

#: Longest chord of a curved end. [m]
_CHORD: Final = 2e-3
#: Most that a chord lies off the edge that it follows. [m]
_EDGE_OFF: Final = 1e-5
#: Shortest part of a spliced piece. [m]
SPLICE_LEAST: Final = 0.05
#: Growth of radius over a piece below which its mean cone is a cylinder. [m]
_CYLINDER: Final = 1e-7


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """One piece of prepreg, flat, as seen on its outer face."""

    mark: str  #: place in the rolling order, letter within a pair, part of a splice
    flag: int  #: place in the rolling order, from 0 [-]
    name: str  #: of its flag
    material: str
    angle: float  #: fibres from the u axis, positive towards v [rad]
    outline: Array  #: corners (u, v), first not repeated, anticlockwise [m]
    start: float  #: station of u = 0, before the tip where trimmed [m]
    #: distance of its straight edge from that of the piece it is laid on, at the tip
    #: and at the butt: half a turn in a pair, else none [m]
    offset: tuple[float, float]
    notches: Array  #: (u, v) on the edge and its inward direction, four columns [m, -]
    splices: Array  #: lines along which it is joined, (u, v) of both ends [m]

    @property
    def area(self) -> float:
        """Area of the piece. [m²]."""
        return float(shapely.Polygon(self.outline).area)

    @property
    def roll_turn(self) -> float:
        """Turn of the piece that brings its fibres along the roll. [rad]."""
        return -self.angle


@dataclass(frozen=True, slots=True, kw_only=True)
class MeanCone:
    """The cone on which a piece is developed."""

    apex: float  #: distance of u = 0 from the apex; inf for a cylinder [m]
    sine: float  #: sine of half its opening angle [-]

    def flat(self, along: Array, across: Array) -> Array:
        """Develop points of the cone into the plane.

        Parameters
        ----------
        along : ndarray
            Axial distance from u = 0. [m]
        across : ndarray
            Distance along the arc of equal station from the straight edge. [m]

        Returns
        -------
        points : ndarray, shape (n, 2)
            Places u, v in the plane. [m]
        """
        slant = along / math.sqrt(1.0 - self.sine**2)
        if math.isinf(self.apex):
            return np.column_stack([slant, across])
        radius = self.apex + slant
        turned = across / radius
        # 1 - cos by its half angle, since the apex lies far away
        u = slant - 2.0 * radius * np.sin(turned / 2.0) ** 2
        return np.column_stack([u, radius * np.sin(turned)])


def mean_cone(cut: FlagReport, flag: Flag) -> MeanCone:
    """Cone through the mean radius of a flag's turns at both ends of its full turns.

    Parameters
    ----------
    cut : FlagReport
        The flag as cut. [SI]
    flag : Flag
        The flag as designed. [SI]

    Returns
    -------
    cone : MeanCone
        Its mean cone; a cylinder where the radius does not grow. [SI]
    """
    x = cut.cut_station
    first, last = x[0] + flag.run_out_tip, x[-1] - flag.run_out_butt
    mean = (cut.cut_inner + cut.cut_outer) / 2.0
    if last - first < 0.1 * (x[-1] - x[0]):
        first, last, mean = x[0], x[-1], cut.cut_inner
    a, b = float(np.interp(first, x, mean)), float(np.interp(last, x, mean))
    if b - a < _CYLINDER:
        return MeanCone(apex=math.inf, sine=0.0)
    tangent = (b - a) / float(last - first)
    sine = tangent / math.sqrt(1.0 + tangent**2)
    at_start = a - tangent * float(first - x[0])
    return MeanCone(apex=at_start / sine, sine=sine)


def pieces_of(
    report: Report,
    library: Library,
    *,
    ends: Ends = "developed",
    turn_over: bool = False,
    overlap: float = 0.0,
) -> tuple[Piece, ...]:
    """Flat pieces of a shaft, in rolling order.

    Parameters
    ----------
    report : Report
        An evaluated design. [SI]
    library : Library
        Its materials, for the width of their rolls. [SI]
    ends : {"developed", "square"}
        Ends as arcs of the mean cone, or straight and square to the straight edge. [-]
    turn_over : bool
        Whether the second piece of a pair is turned over when it is laid on the
        first: it is then cut as the mirror image, at the same angle to the roll. [-]
    overlap : float
        Added to every width, along the edge that is wound last. The shaft's
        predictions leave it out, as does the cost that a search reckons. [m]

    Returns
    -------
    pieces : tuple of Piece
        Two for a pair; the parts of a spliced piece stand for themselves. [SI]
    """
    pieces: list[Piece] = []
    flags = zip(report.flags, report.design.flags, strict=True)
    for k, (cut, flag) in enumerate(flags):
        outline, notches = _outline(cut, flag, ends, overlap)
        offset = _half_turn(cut) if flag.is_pair else (0.0, 0.0)
        letters = ("A", "B") if flag.is_pair else ("",)
        for letter in letters:
            second = letter == "B"
            piece = Piece(
                mark=f"{k + 1}{letter}",
                flag=k,
                name=cut.name,
                material=cut.material,
                angle=-flag.angle if second else flag.angle,
                outline=outline,
                start=float(cut.cut_station[0]),
                offset=offset if second else (0.0, 0.0),
                notches=notches,
                splices=np.empty((0, 4)),
            )
            if second and turn_over:
                piece = _turned_over(piece)
            width = library.prepregs[flag.material].roll_width
            pieces += _spliced(piece, width, report.design.cutting)
    return tuple(pieces)


def _half_turn(cut: FlagReport) -> tuple[float, float]:
    """Half of the first turn of a pair, at both ends of a piece."""
    lengths = []
    for i in (0, -1):
        inner, outer = float(cut.cut_inner[i]), float(cut.cut_outer[i])
        turns = float(cut.cut_width[i]) / (math.pi * (inner + outer))
        rise = (outer - inner) / turns if turns > 0.0 else 0.0
        lengths.append(math.pi * (inner + rise / 4.0))
    return lengths[0], lengths[1]


def _outline(
    cut: FlagReport, flag: Flag, ends: Ends, overlap: float
) -> tuple[Array, Array]:
    """Corners of a piece, and its notches with their inward directions."""
    along = np.asarray(cut.cut_station - cut.cut_station[0], dtype=np.float64)
    width = np.asarray(cut.cut_width, dtype=np.float64) + overlap
    cone = MeanCone(apex=math.inf, sine=0.0)
    if ends == "developed":
        cone = mean_cone(cut, flag)
    butt = _across(float(width[-1]), cone)
    tip = _across(float(width[0]), cone)[::-1]
    path = [
        cone.flat(np.array([0.0, along[-1]]), np.zeros(2)),
        cone.flat(np.full(len(butt), along[-1]), butt)[1:-1],
        cone.flat(*_edge(along, width, cone))[::-1],
        cone.flat(np.zeros(len(tip)), tip)[1:-1],
    ]
    corners = np.vstack(path)
    apart = np.hypot(*np.diff(corners, axis=0, append=corners[:1]).T)
    return corners[apart > SAME_STATION], _notches(cut, flag, along, cone)


def _edge(along: Array, width: Array, cone: MeanCone) -> tuple[Array, Array]:
    """Places of the wound edge, close enough that chords between them follow it."""
    while not math.isinf(cone.apex):
        middle = cone.flat(
            (along[1:] + along[:-1]) / 2.0, (width[1:] + width[:-1]) / 2.0
        )
        corners = cone.flat(along, width)
        off = np.hypot(*(middle - (corners[1:] + corners[:-1]) / 2.0).T)
        long = np.flatnonzero(off > _EDGE_OFF) + 1
        if not len(long):
            break
        along, width = (
            np.insert(values, long, (values[long] + values[long - 1]) / 2.0)
            for values in (along, width)
        )
    return along, width


def _across(width: float, cone: MeanCone) -> Array:
    """Places across an end: its two corners, and chords between them on a cone."""
    n = 1 if math.isinf(cone.apex) else max(1, math.ceil(width / _CHORD))
    return np.linspace(0.0, width, n + 1)


def _notches(cut: FlagReport, flag: Flag, along: Array, cone: MeanCone) -> Array:
    """Notches of a piece: where its first turn closes, and where a run-out ends.

    In a pair it is half of the first turn, where the other piece's straight edge lies.
    """
    found = []
    run_outs = (flag.run_out_tip, flag.run_out_butt)
    halves = _half_turn(cut)
    for end, run_out in enumerate(run_outs):
        inward = 1.0 if end == 0 else -1.0
        at = float(along[-end])
        if run_out > 0.0:
            (u, v), *_ = cone.flat(np.array([at + inward * run_out]), np.zeros(1))
            found.append((u, v, 0.0, 1.0))
            continue
        inner, outer = float(cut.cut_inner[-end]), float(cut.cut_outer[-end])
        width = float(cut.cut_width[-end])
        turns = width / (math.pi * (inner + outer))
        closes = halves[end]
        if not flag.is_pair:
            closes = 2.0 * math.pi * inner + math.pi * (outer - inner) / turns
        if closes > width - SAME_STATION:
            continue
        (u, v), (u2, v2) = cone.flat(
            np.array([at, at + inward * 1e-3]), np.full(2, closes)
        )
        length = math.hypot(u2 - u, v2 - v)
        found.append((u, v, (u2 - u) / length, (v2 - v) / length))
    return np.array(found, dtype=np.float64).reshape(-1, 4)


def _turned_over(piece: Piece) -> Piece:
    """The same piece as seen on its other face."""
    mirror = np.array([1.0, -1.0])
    return Piece(
        mark=piece.mark,
        flag=piece.flag,
        name=piece.name,
        material=piece.material,
        angle=-piece.angle,
        outline=(piece.outline * mirror)[::-1].copy(),
        start=piece.start,
        offset=piece.offset,
        notches=piece.notches * np.tile(mirror, 2),
        splices=piece.splices * np.tile(mirror, 2),
    )


def _spliced(piece: Piece, roll_width: float, cutting: Cutting) -> list[Piece]:
    """Parts of a piece that lies wider than its roll, joined along its fibres.

    A joint along the fibres cuts none. All parts but the last take the whole roll.
    """
    usable = roll_width - 2.0 * cutting.roll_edge
    across = np.array([-math.sin(piece.angle), math.cos(piece.angle)])
    place = piece.outline @ across
    low, span = float(place.min()), float(np.ptp(place))
    if span <= usable + SAME_STATION or abs(piece.angle) < cutting.splice_from - 1e-9:
        return [piece]
    n = math.ceil(span / usable - 1e-9)
    marks = low + usable * np.arange(1, n)
    least = min(SPLICE_LEAST, span / n)
    if low + span - marks[-1] < least:
        marks[-1] = low + span - least
    bounds = [low - 1.0, *marks, low + span + 1.0]
    fibres = np.array([across[1], -across[0]])
    whole = shapely.Polygon(piece.outline)
    joints = []
    for at in marks:
        line = shapely.LineString(
            [at * across - 10.0 * fibres, at * across + 10.0 * fibres]
        )
        cut = shapely.intersection(line, whole)
        (u1, v1), (u2, v2) = cut.coords[0], cut.coords[-1]
        joints.append((u1, v1, u2, v2))
    parts = []
    for i in range(n):
        box = [
            bounds[i] * across - 10.0 * fibres,
            bounds[i] * across + 10.0 * fibres,
            bounds[i + 1] * across + 10.0 * fibres,
            bounds[i + 1] * across - 10.0 * fibres,
        ]
        part = shapely.intersection(whole, shapely.Polygon(box))
        outline = shapely.get_coordinates(shapely.orient_polygons(part))[:-1]
        inside = [
            shapely.distance(shapely.Point(notch[:2]), part) < SAME_STATION
            for notch in piece.notches
        ]
        parts.append(
            Piece(
                mark=f"{piece.mark}.{i + 1}",
                flag=piece.flag,
                name=piece.name,
                material=piece.material,
                angle=piece.angle,
                outline=outline,
                start=piece.start,
                offset=piece.offset,
                notches=piece.notches[np.array(inside, dtype=np.bool_)],
                splices=np.array(joints[max(i - 1, 0) : i + 1]),
            )
        )
    return parts
