"""Letters on the layup sheet: fonts that have them, and text that fits its box."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Literal
from xml.sax.saxutils import escape

import matplotlib
from reportlab.lib.colors import HexColor
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.cidfonts import UnicodeCIDFont
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import Paragraph

from optimiser.flagmap import INK

#: side a text is set to
Side = Literal["left", "center", "right"]
_ALIGN: dict[Side, Literal[0, 1, 2]] = {"left": 0, "center": 1, "right": 2}
#: free fonts that travel with the pictures' library and are embedded in the sheet
PLAIN, BOLD = "DejaVuSans", "DejaVuSans-Bold"
#: for the letters of East Asia; the reader of the PDF has them or not
_EAST = "HeiseiKakuGo-W5"
#: height of a line over the size of its letters
LEADING = 1.16


@cache
def _glyphs() -> frozenset[int]:
    """Register the fonts; give the letters that the embedded ones have."""
    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    usual = TTFont(PLAIN, folder / "DejaVuSans.ttf")
    pdfmetrics.registerFont(usual)
    pdfmetrics.registerFont(TTFont(BOLD, folder / "DejaVuSans-Bold.ttf"))
    pdfmetrics.registerFont(UnicodeCIDFont(_EAST))
    return frozenset(usual.face.charToGlyph)


def font_for(text: str, *, bold: bool = False) -> str:
    """Choose a font that has the letters of a text.

    Parameters
    ----------
    text : str
        What is to be written. [-]
    bold : bool
        Whether it is to stand out. [-]

    Returns
    -------
    font : str
        Name of a registered font. [-]
    """
    known = _glyphs()
    if all(ord(letter) in known for letter in text if letter.isprintable()):
        return BOLD if bold else PLAIN
    return _EAST


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Measure a text.

    Parameters
    ----------
    text : str
        What is to be written. [-]
    size : float
        Size of the letters. [pt]
    bold : bool
        Whether it is to stand out. [-]

    Returns
    -------
    width : float
        Width on one line. [pt]
    """
    return float(pdfmetrics.stringWidth(text, font_for(text, bold=bold), size))


def paragraph(
    text: str,
    size: float,
    *,
    bold: bool = False,
    align: Side = "left",
    colour: str = INK,
) -> Paragraph:
    """Set a text that wraps, even inside a long word.

    Parameters
    ----------
    text : str
        What is to be written, taken as it is. [-]
    size : float
        Size of the letters. [pt]
    bold : bool
        Whether it is to stand out. [-]
    align : {"left", "center", "right"}
        Side it is set to. [-]
    colour : str
        Colour of the letters. [-]

    Returns
    -------
    paragraph : Paragraph
        Ready to be laid out. [-]
    """
    font = font_for(text, bold=bold)
    style = ParagraphStyle(
        "sheet",
        fontName=font,
        fontSize=size,
        leading=LEADING * size,
        textColor=HexColor(colour),
        alignment=_ALIGN[align],
        splitLongWords=1,
        wordWrap="CJK" if font == _EAST else None,
    )
    return Paragraph(escape(text), style)


def fitted(
    text: str,
    width: float,
    size: float,
    *,
    lines: float = 2,
    bold: bool = False,
    align: Side = "left",
) -> Paragraph:
    """Set a text in a box: wrapped, then made smaller, and only then cut short.

    Parameters
    ----------
    text : str
        What is to be written. [-]
    width : float
        Width of the box. [pt]
    size : float
        Wanted size of the letters. [pt]
    lines : float
        Height of the box, in lines at that size. [-]
    bold : bool
        Whether it is to stand out. [-]
    align : {"left", "center", "right"}
        Side it is set to. [-]

    Returns
    -------
    paragraph : Paragraph
        No higher than the lines at the wanted size. [-]
    """
    room = lines * LEADING * size + 0.01

    def fits(words: str, letters: float) -> Paragraph | None:
        trial = paragraph(words, letters, bold=bold, align=align)
        return trial if trial.wrap(width, 1e4)[1] <= room else None

    for share in (1.0, 0.92, 0.84, 0.76):
        if (whole := fits(text, share * size)) is not None:
            return whole
    low, high = 0, len(text)
    while high - low > 1:  # the longest part that fits with its mark of omission
        middle = (low + high) // 2
        if fits(text[:middle].rstrip() + "…", 0.76 * size) is None:
            high = middle
        else:
            low = middle
    return paragraph(text[:low].rstrip() + "…", 0.76 * size, bold=bold, align=align)
