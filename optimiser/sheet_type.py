"""Letters on the layup sheet: fonts that have them, and text that fits its box."""

from __future__ import annotations

import string
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final, Literal
from xml.sax.saxutils import escape

import matplotlib
from matplotlib import font_manager
from reportlab.lib.colors import HexColor
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFError, TTFont
from reportlab.platypus import Paragraph

from optimiser.flagmap import INK

#: side a text is set to
Side = Literal["left", "center", "right"]
_ALIGN: dict[Side, Literal[0, 1, 2]] = {"left": 0, "center": 1, "right": 2}
#: free fonts that travel with the pictures' library and are embedded in the sheet
PLAIN, BOLD = "DejaVuSans", "DejaVuSans-Bold"
#: stands for a letter that no font of this machine has
NO_LETTER: Final = "▯"
#: fonts that draw something for every letter, but not the letter
_PRETENDERS: Final = ("Last Resort", "LastResort")
#: what stands beside names in one text
_ALWAYS: Final = string.ascii_letters + string.digits + " ()-+±°.,:…"
_USUAL_WEIGHT: Final = ("400", "normal", "regular", "book")
#: height of a line over the size of its letters
LEADING = 1.16


@dataclass(frozen=True, slots=True)
class Face:
    """A font of this machine that has letters which the usual ones lack."""

    name: str  #: that it is registered by
    path: Path


@cache
def _glyphs() -> frozenset[int]:
    """Register the fonts; give the letters that both embedded ones have."""
    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    found = []
    for name in (PLAIN, BOLD):
        font = TTFont(name, folder / f"{name}.ttf")
        pdfmetrics.registerFont(font)
        found.append(frozenset(font.face.charToGlyph))
    return found[0] & found[1]


def _lacking(text: str) -> frozenset[int]:
    """Letters of a text that the usual fonts have not."""
    return frozenset(ord(letter) for letter in text if letter.isprintable()) - _glyphs()


@cache
def _machine_fonts() -> tuple[tuple[Path, frozenset[int]], ...]:
    """Fonts of this machine that have the usual letters too, and their letters."""
    usual = frozenset(map(ord, _ALWAYS))
    fonts = []
    entries = {
        (font.style != "normal", f"{font.weight}" not in _USUAL_WEIGHT, font.fname)
        for font in font_manager.fontManager.ttflist
        if not font.name.startswith(_PRETENDERS)
    }
    for *_, name in sorted(entries):  # upright ones first, in the same order always
        try:
            letters = frozenset(font_manager.get_font(name).get_charmap())
        except (OSError, RuntimeError):
            continue  # gone meanwhile, or no font at all
        if usual <= letters:
            fonts.append((Path(name), letters))
    return tuple(fonts)


@cache
def _face_of(letters: frozenset[int]) -> Face | None:
    """Find a font that has some letters, and can be embedded; register it."""
    for path, its in _machine_fonts():
        if not letters <= its:
            continue
        try:
            font = TTFont(f"machine-{path.stem}", path)
        except (OSError, TTFError):
            continue  # of outlines that cannot be embedded
        if letters <= font.face.charToGlyph.keys():
            pdfmetrics.registerFont(font)
            return Face(font.fontName, path)
    return None


def face_for(text: str) -> Face | None:
    """Find a font of this machine for a text that the usual fonts cannot write.

    Parameters
    ----------
    text : str
        What is to be written. [-]

    Returns
    -------
    face : Face or None
        One that has all its letters; None where the usual fonts do, or none has. [-]
    """
    if not _lacking(text):
        return None
    return _face_of(frozenset(ord(c) for c in text if c.isprintable()))


def drawn(text: str) -> str:
    """Give a text as it can be drawn.

    Parameters
    ----------
    text : str
        What is to be written. [-]

    Returns
    -------
    text : str
        The same, with a sign in place of each letter that no font here has. [-]
    """
    # a letter that only steers others is drawn by no font
    text = "".join(c for c in text if c.isprintable() or c.isspace())
    lacking = _lacking(text)
    if not lacking or face_for(text) is not None:
        return text
    return "".join(NO_LETTER if ord(c) in lacking else c for c in text)


def undrawn(texts: Iterable[tuple[str, str]]) -> tuple[str, ...]:
    """Say which texts cannot be drawn as they are, and what they are.

    Parameters
    ----------
    texts : iterable of tuple of str
        What a text is, such as "flag 3", and the text. [-]

    Returns
    -------
    notes : tuple of str
        One line each, with the letters that are missing by their numbers. [-]
    """
    notes, others = [], ""
    for what, text in texts:
        lacking = _lacking(text)
        if not lacking:
            continue
        if face_for(text) is not None:
            others += text
            continue
        numbers = " ".join(f"U+{ord(c):04X}" for c in text if ord(c) in lacking)
        notes.append(f'{what}, "{drawn(text)}": no font here has {numbers}')
    if others and face_for(others) is None:
        notes.append(
            f"no one font here has the letters of all names; where names stand beside "
            f"each other {NO_LETTER} stands for some"
        )
    return tuple(notes)


def font_for(text: str, *, bold: bool = False) -> str:
    """Choose a font that has the letters of a text as it is drawn.

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
    face = face_for(text)
    if face is not None:
        return face.name
    _glyphs()
    return BOLD if bold else PLAIN


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
    text = drawn(text)
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
        What is to be written, taken as it is, with signs for letters no font has. [-]
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
    text = drawn(text)
    font = font_for(text, bold=bold)
    style = ParagraphStyle(
        "sheet",
        fontName=font,
        fontSize=size,
        leading=LEADING * size,
        textColor=HexColor(colour),
        alignment=_ALIGN[align],
        splitLongWords=1,
        wordWrap=None if font in (PLAIN, BOLD) else "CJK",
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
    is_whole: bool = False,
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
    is_whole : bool
        Whether it takes more lines, of small letters, rather than be cut short. [-]

    Returns
    -------
    paragraph : Paragraph
        No higher than the lines at the wanted size, unless it has to be whole. [-]
    """
    room = lines * LEADING * size + 0.01

    def fits(words: str, letters: float) -> Paragraph | None:
        trial = paragraph(words, letters, bold=bold, align=align)
        return trial if trial.wrap(width, 1e4)[1] <= room else None

    for share in (1.0, 0.92, 0.84, 0.76):
        if (whole := fits(text, share * size)) is not None:
            return whole
    if is_whole:
        return paragraph(text, 0.76 * size, bold=bold, align=align)
    low, high = 0, len(text)
    while high - low > 1:  # the longest part that fits with its mark of omission
        middle = (low + high) // 2
        if fits(text[:middle].rstrip() + "…", 0.76 * size) is None:
            high = middle
        else:
            low = middle
    return paragraph(text[:low].rstrip() + "…", 0.76 * size, bold=bold, align=align)
