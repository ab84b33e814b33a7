"""Pieces as DXF for a cutter: true size in millimetres, one closed line a piece.

The version is R2000 (AC1015): the oldest that has the light polyline and states its
unit, so that old cutters read it as well as new ones; nothing later is needed.
"""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import ezdxf
from ezdxf import units

if TYPE_CHECKING:
    from optimiser.pattern_shapes import Shape

#: Layers: what the knife follows, what a pen marks, what is written on pieces, and what
#: is said of them all beside; with colours.
CUT, MARK, TEXT, NOTE = "PIECE_CUT", "PIECE_MARK", "PIECE_TEXT", "FILE_NOTE"
_COLOURS: Final = {CUT: 7, MARK: 5, TEXT: 3, NOTE: 8}
#: Letters of the note, and how far above all pieces it stands. [mm]
_NOTE_HEIGHT, _NOTE_CLEAR = 7.0, 15.0
_VERSION: Final = "R2000"


def dxf_bytes(shapes: Sequence[Shape], note: str = "") -> bytes:
    """Pieces as a DXF file.

    Parameters
    ----------
    shapes : sequence of Shape
        Pieces where they are drawn. [mm]
    note : str
        What they are of, written clear of them all; nothing for no note. [-]

    Returns
    -------
    content : bytes
        One closed light polyline a piece on the layer of cuts; lines, text and the
        note on layers of their own; one drawing unit is 1 mm. [-]
    """
    # names of styles and line types that a drawing need not have are left out
    document = ezdxf.new(_VERSION, units=units.MM)  # type: ignore[attr-defined]
    for name, colour in _COLOURS.items():
        document.layers.add(name, color=colour)
    space = document.modelspace()
    for shape in shapes:
        space.add_lwpolyline(
            [(float(x), float(y)) for x, y in shape.outline],
            format="xy",
            close=True,
            dxfattribs={"layer": CUT},
        )
        for a, b in shape.marks:
            space.add_line(a, b, dxfattribs={"layer": MARK})
        for words in shape.words:
            space.add_text(
                words.text,
                height=words.height,
                rotation=math.degrees(words.turn) % 360.0,
                dxfattribs={"layer": TEXT, "insert": (words.x, words.y)},
            )
    if note:
        left = min(float(shape.outline[:, 0].min()) for shape in shapes)
        top = max(float(shape.outline[:, 1].max()) for shape in shapes)
        space.add_text(
            " ".join(note.split()),
            height=_NOTE_HEIGHT,
            dxfattribs={"layer": NOTE, "insert": (left, top + _NOTE_CLEAR)},
        )
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode(document.output_encoding, errors="dxfreplace")
