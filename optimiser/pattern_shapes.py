"""Pieces as they are drawn, in mm: what is cut, what is marked, what is said."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from model import angle_text
from optimiser.shop_units import SI, ShopUnits

if TYPE_CHECKING:
    from model import Piece
    from optimiser.nesting import Laid, Lay

Array = NDArray[np.float64]
Line = tuple[tuple[float, float], tuple[float, float]]

#: Heights of letters on a piece, largest first; and how wide a letter is. [mm, -]
_LETTERS: Final = (7.0, 5.0, 4.0, 3.0, 2.0, 1.5)
_LETTER_WIDTH: Final = 0.85
_DESCENT: Final = 0.35  #: how far letters reach below their base, in heights
_LINE: Final = 1.5  #: distance of lines of text, in heights
_CLEAR: Final = 1.5  #: clear of the edge [mm]
_NOTCH: Final = 4.0  #: length of a notch [mm]
_ARROW: Final = 120.0  #: longest fibre arrow [mm]
_BETWEEN: Final = 15.0  #: between pieces that are drawn one over the other [mm]


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """One line of text."""

    text: str
    x: float  #: left end of its base [mm]
    y: float  #: [mm]
    turn: float  #: of its base from the x axis [rad]
    height: float  #: [mm]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """One piece as it is drawn, in millimetres."""

    mark: str
    own_angle: float  #: of the fibres from the piece's straight edge [rad]
    flag: int  #: place in the rolling order, from 0 [-]
    outline: Array  #: what is cut, anticlockwise [mm]
    marks: tuple[Line, ...]  #: fibre arrow, notches, joints [mm]
    words: tuple[Words, ...]


def piece_shape(
    piece: Piece, *, is_short: bool = False, units: ShopUnits = SI, least: float = 0.0
) -> Shape:
    """Draw a piece along its own axes, its straight edge along x.

    Parameters
    ----------
    piece : Piece
        The piece. [SI]
    is_short : bool
        Its mark alone instead of all that is to be said of it. [-]
    units : ShopUnits
        Units of what is said; what is drawn is in mm in any case. [-]
    least : float
        Least height of letters; less is said where all would be smaller. [mm]

    Returns
    -------
    shape : Shape
        Outline, marks and words. [mm]
    """
    outline = piece.outline * 1e3
    polygon = shapely.Polygon(outline)
    notches = [_notch(notch) for notch in piece.notches]
    marks = [*notches]
    marks += [
        ((u1 * 1e3, v1 * 1e3), (u2 * 1e3, v2 * 1e3)) for u1, v1, u2, v2 in piece.splices
    ]
    ways = [[piece.mark]] if is_short else _said(piece, units)
    words = _written(polygon, ways, least, notches)
    return Shape(
        mark=piece.mark,
        own_angle=piece.angle,
        flag=piece.flag,
        outline=outline,
        marks=(*marks, *_arrow(polygon, piece.angle, words)),
        words=words,
    )


def stacked(
    pieces: Sequence[Piece], units: ShopUnits = SI, *, least: float = 0.0
) -> tuple[Shape, ...]:
    """Draw pieces one over the other, the first at the top.

    Parameters
    ----------
    pieces : sequence of Piece
        Pieces of a shaft. [SI]
    units : ShopUnits
        Units of what is said on them; they are drawn in mm. [-]
    least : float
        Least height of letters; less is said where all would be smaller. [mm]

    Returns
    -------
    shapes : tuple of Shape
        Lowest corner of all at 0, 0. [mm]
    """
    shapes = [piece_shape(piece, units=units, least=least) for piece in pieces]
    left = min(float(shape.outline[:, 0].min()) for shape in shapes)
    placed: list[Shape] = []
    y = 0.0
    for shape in reversed(shapes):
        low, high = float(shape.outline[:, 1].min()), float(shape.outline[:, 1].max())
        placed.append(moved(shape, 0.0, -left, y - low))
        y += high - low + _BETWEEN
    return tuple(reversed(placed))


def laid_shapes(lay: Lay) -> tuple[Shape, ...]:
    """Draw the pieces of a lay where they lie on the roll.

    Parameters
    ----------
    lay : Lay
        The lay. [SI]

    Returns
    -------
    shapes : tuple of Shape
        x along the roll, y across it. [mm]
    """
    own: dict[str, Shape] = {}
    found = []
    for one in lay.laid:
        mark = one.piece.mark
        if mark not in own:
            own[mark] = piece_shape(one.piece, is_short=True)
        found.append(_laid(own[mark], one))
    return tuple(found)


def _laid(shape: Shape, one: Laid) -> Shape:
    return moved(shape, one.turn, one.x * 1e3, one.y * 1e3)


def moved(shape: Shape, turn: float, x: float, y: float) -> Shape:
    """Turn a shape about 0, 0 and move it.

    Parameters
    ----------
    shape : Shape
        What is moved. [mm]
    turn : float
        Anticlockwise. [rad]
    x, y : float
        Where its 0, 0 comes to lie. [mm]

    Returns
    -------
    shape : Shape
        The same at its new place. [mm]
    """
    c, s = math.cos(turn), math.sin(turn)

    def place(u: float, v: float) -> tuple[float, float]:
        return x + c * u - s * v, y + s * u + c * v

    words = []
    for line in shape.words:
        u, v = place(line.x, line.y)
        words.append(replace(line, x=u, y=v, turn=line.turn + turn))
    rotation = np.array([[c, s], [-s, c]])
    return replace(
        shape,
        outline=shape.outline @ rotation + np.array([x, y]),
        marks=tuple((place(*a), place(*b)) for a, b in shape.marks),
        words=tuple(words),
    )


def _notch(notch: Array) -> Line:
    u, v, along, across = (float(value) for value in notch)
    u, v = u * 1e3, v * 1e3
    return (u, v), (u + _NOTCH * along, v + _NOTCH * across)


def _said(piece: Piece, units: ShopUnits) -> list[list[str]]:
    """Ways to say what a piece is, on one line or on several."""
    angle = angle_text(piece.angle, is_pair=False)
    sign = "+" if piece.angle > 0.0 else ""
    # a line break within a name would break the file of a cutter
    name, material = (" ".join(text.split()) for text in (piece.name, piece.material))
    parts = [f"{piece.mark}  {name}", f"{material}  {sign}{angle}°"]
    if piece.offset != (0.0, 0.0):
        # parts of a spliced pair do not end at the same places
        under = piece.mark.partition(".")[0].replace("B", "A")
        first, last = (units.length.text(value) for value in piece.offset)
        unit = units.length.unit
        parts.append(
            f"on {under}: tip {first}, butt {last} {unit} from its straight edge"
        )
    if len(piece.splices):
        parts.append("spliced")
    return [["   ".join(parts)], parts, [piece.mark, *parts[1:]], [piece.mark]]


def _written(
    polygon: shapely.Polygon,
    ways: Sequence[Sequence[str]],
    least: float,
    notches: Sequence[Line],
) -> tuple[Words, ...]:
    """Place text within a piece, clear of its notches, as large as it goes."""
    room: BaseGeometry = shapely.buffer(polygon, -_CLEAR)
    if notches:
        taken = shapely.buffer(shapely.MultiLineString(list(notches)), _CLEAR / 2.0)
        room = shapely.difference(room, taken)
    if room.is_empty:
        return ()
    shapely.prepare(room)
    left, bottom, right, top = polygon.bounds
    for way in ways:
        for height in _LETTERS:
            if height < least:
                break
            low = _DESCENT * height
            wide = _LETTER_WIDTH * height * max(len(line) for line in way)
            high = height * (1.0 + _LINE * (len(way) - 1))
            if wide > right - left or high > top - bottom:
                continue
            for u in np.linspace(left, right - wide, 25):
                for v in np.linspace(bottom, top - high, 9)[[4, 3, 5, 2, 6, 1, 7]]:
                    if room.contains(shapely.box(u, v - low, u + wide, v + high)):
                        return tuple(
                            Words(
                                text=line,
                                x=float(u),
                                y=float(v) + high - height * (1.0 + _LINE * i),
                                turn=0.0,
                                height=height,
                            )
                            for i, line in enumerate(way)
                        )
    return ()


def _arrow(
    polygon: shapely.Polygon, angle: float, words: Sequence[Words]
) -> tuple[Line, ...]:
    """Arrow along the fibres, where the piece has most room for it."""
    room: BaseGeometry = shapely.buffer(polygon, -_CLEAR)
    for line in words:
        wide = _LETTER_WIDTH * line.height * len(line.text)
        taken = shapely.box(
            line.x - _CLEAR,
            line.y - _DESCENT * line.height - _CLEAR,
            line.x + wide + _CLEAR,
            line.y + line.height + _CLEAR,
        )
        room = shapely.difference(room, taken)
    if room.is_empty:
        return ()
    direction = np.array([math.cos(angle), math.sin(angle)])
    left, bottom, right, top = room.bounds
    best: tuple[float, Array, Array] | None = None
    for u in np.linspace(left, right, 23)[1:-1]:
        for v in np.linspace(bottom, top, 9)[1:-1]:
            at = np.array([u, v])
            ray = shapely.LineString([at - 5e3 * direction, at + 5e3 * direction])
            inside = shapely.intersection(ray, room)
            for part in shapely.get_parts(inside):
                length = min(float(part.length), _ARROW)
                # a ray that misses the room gives a part of no length
                if length <= (0.0 if best is None else best[0]) + 1e-6:
                    continue
                middle = np.asarray(part.interpolate(0.5, normalized=True).coords)[0]
                half = 0.5 * length * direction
                best = (length, middle - half, middle + half)
    if best is None:
        return ()
    length, a, b = best
    head = min(5.0, 0.25 * length)
    side = np.array([-direction[1], direction[0]])
    tips = [b - head * direction + sign * 0.4 * head * side for sign in (1.0, -1.0)]
    lines = [(a, b), (b, tips[0]), (b, tips[1])]
    return tuple(
        ((float(p[0]), float(p[1])), (float(q[0]), float(q[1]))) for p, q in lines
    )
