"""The flag map on the layup sheet: vector lines, to a stated scale."""

from __future__ import annotations

import math

from reportlab.lib.colors import HexColor
from reportlab.lib.units import mm as MM  # noqa: N812, a unit is no class
from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject
from reportlab.platypus import Flowable

from optimiser.flagmap import INK, KIND_COLOURS, KIND_LABELS, FlagMap, MapRow
from optimiser.sheet_type import BOLD, PLAIN, drawn, font_for, text_width
from optimiser.shop_units import SI, ShopUnits
from optimiser.words import plain

_QUIET = HexColor("#66717D")
_PALE = HexColor("#E6ECF1")
_FIBRES = HexColor("#5C6874")
#: scales a shop's rule can be laid on
_SCALES = (1.0, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.5, 15.0, 20.0)


class FlagMapFlowable(Flowable):
    """Flag map as an element of a page.

    Parameters
    ----------
    layout : FlagMap
        Map of a shaft's flags. [-]
    width : float
        Width of the page's frame. [pt]
    size : float
        Size of the letters. [pt]
    units : ShopUnits
        Units of the stations and diameters. [-]
    """

    def __init__(
        self, layout: FlagMap, width: float, size: float, units: ShopUnits = SI
    ) -> None:
        super().__init__()
        self.layout = layout
        self.units = units
        self.size = size
        self.width = width
        self.names = min(42.0 * MM, 0.2 * width)  # room for the names on the left
        room = width - self.names - 4.0 * MM
        span = layout.end - layout.start
        self.scale = next(
            (n for n in _SCALES if span * 1e3 * MM / n <= room),
            math.ceil(span * 1e3 * MM / room),
        )
        # many flags take lower rows, so that flags and map share the first page
        self.row = (2.05 if len(layout.rows) <= 10 else 1.8) * size
        self.head = 2.3 * size if layout.breaks else 1.2 * size
        self.foot = 3.4 * size
        self.height = self.head + self.row * len(layout.rows) + self.foot

    def wrap(self, aW: float, aH: float) -> tuple[float, float]:  # noqa: ARG002
        """Say how large the map is.

        Parameters
        ----------
        aW, aH : float
            Room there is. [pt]

        Returns
        -------
        size : tuple of float
            Width and height. [pt]
        """
        return self.width, self.height

    def across(self, station: float) -> float:
        """Place of a station on the map.

        Parameters
        ----------
        station : float
            From the tip. [m]

        Returns
        -------
        x : float
            From the left of the map. [pt]
        """
        return self.names + (station - self.layout.start) * 1e3 * MM / self.scale

    def draw(self) -> None:
        """Draw the map on the page it was laid out for."""
        canvas, layout = self.canv, self.layout
        top = self.height - self.head
        bottom = self.foot
        if layout.tip_parallel:
            canvas.setFillColor(_PALE)
            left, right = self.across(0.0), self.across(layout.tip_parallel)
            canvas.rect(left, bottom, right - left, top - bottom, stroke=0, fill=1)
        for row in layout.rows:
            self._row(canvas, row, top - row.order * self.row)
        self._lines(canvas, top, bottom)
        for row in layout.rows:
            self._words(canvas, row, top - row.order * self.row)
        self._axis(canvas, bottom)
        self._legend(canvas)

    def _row(self, canvas: Canvas, row: MapRow, y: float) -> None:
        """Draw one flag: fill, fibre lines at the fibre angle, outline."""
        low, high = y + 0.16 * self.row, y + 0.86 * self.row
        corners = [(self.across(x), low + (high - low) * s) for x, s in row.outline]
        canvas.saveState()
        canvas.clipPath(_path(canvas, corners), stroke=0, fill=0)
        left, right = corners[0][0], corners[-1][0]
        _fibres(canvas, row, (left, low, right - left, high - low))
        canvas.restoreState()
        canvas.setStrokeColor(HexColor(INK))
        canvas.setLineWidth(0.7)
        canvas.drawPath(_path(canvas, corners), stroke=1, fill=0)

    def _lines(self, canvas: Canvas, top: float, bottom: float) -> None:
        """Draw the finished ends and where the mandrel's taper changes."""
        layout, size = self.layout, self.size
        canvas.setStrokeColor(HexColor(INK))
        canvas.setLineWidth(1.0)
        for station in (0.0, layout.length):
            x = self.across(station)
            canvas.line(x, bottom, x, top + 0.5 * size)
        canvas.setLineWidth(0.6)
        canvas.setDash([1.6, 1.6])
        canvas.setStrokeColor(_QUIET)
        free = -math.inf
        measure = self.units.diameter
        for station, diameter in layout.breaks:
            x = self.across(station)
            canvas.line(x, bottom, x, top + 0.3 * size)
            text = f"Ø {plain(diameter * measure.per_si, measure.decimals)}"
            half = 0.5 * text_width(text, 0.85 * size)
            canvas.setFillColor(_QUIET)
            canvas.setFont(PLAIN, 0.85 * size)
            at = max(x, free + half)
            canvas.drawCentredString(at, top + 0.65 * size, text)
            free = at + half + 0.4 * size
        canvas.setDash()
        if layout.breaks:
            text = f"mandrel taper changes, {measure.unit}"
            canvas.drawString(0.0, top + 0.65 * size, text)

    def _words(self, canvas: Canvas, row: MapRow, y: float) -> None:
        """Write a flag's name on the left and its label in or beside it."""
        size = self.size
        base = y + 0.51 * self.row - 0.35 * size
        canvas.setFillColor(HexColor(INK))
        canvas.setFont(BOLD, size)
        canvas.drawString(0.0, base, str(row.order))
        room = self.names - 2.0 * size - 2.0 * MM
        name, letters = _shrunk(row.name, room, size)
        canvas.setFont(font_for(name), letters)
        canvas.drawString(1.8 * size, base, name)
        (left, _), (flat_left, _), (flat_right, _), (right, _) = (
            (self.across(x), s) for x, s in row.outline
        )
        pad = 0.8 * size
        rooms = {
            "in": 0.5 * (right - left + flat_right - flat_left) - 2.0 * pad,
            "right": self.width - right - pad,
            "left": left - self.names - pad,
        }
        need = text_width(row.label, 0.92 * size)
        fits = [side for side, space in rooms.items() if space >= need]
        side = fits[0] if fits else max(rooms, key=lambda side: rooms[side])
        label, letters = _shrunk(row.label, rooms[side], 0.92 * size)
        wide = text_width(label, letters)
        middle = 0.25 * (left + flat_left + flat_right + right)
        x = {
            "in": middle - 0.5 * wide,
            "right": right + pad,
            "left": left - pad - wide,
        }[side]
        canvas.setFillColor(HexColor("#FFFFFF"))
        canvas.rect(
            x - 1.5, base - 0.28 * size, wide + 3.0, 1.18 * size, stroke=0, fill=1
        )
        canvas.setFillColor(HexColor(INK))
        canvas.setFont(font_for(label), letters)
        canvas.drawString(x, base, label)

    def _axis(self, canvas: Canvas, bottom: float) -> None:
        """Draw the scale of stations; every second tick has its number."""
        layout, size, tick = self.layout, self.size, self.units.tick
        unit = self.units.length
        canvas.setStrokeColor(HexColor(INK))
        canvas.setFillColor(HexColor(INK))
        canvas.setLineWidth(0.6)
        canvas.setFont(PLAIN, 0.85 * size)
        canvas.line(self.across(layout.start), bottom, self.across(layout.end), bottom)
        for i in range(int(layout.end / tick + 1e-9) + 1):
            x = self.across(i * tick)
            named = i % 2 == 0
            canvas.line(x, bottom, x, bottom - (0.45 if named else 0.25) * size)
            if named:
                text = plain(i * tick * unit.per_si, unit.decimals)
                canvas.drawCentredString(x, bottom - 1.35 * size, text)
        text = f"station from the tip, {unit.unit}"
        canvas.drawString(0.0, bottom - 1.35 * size, text)

    def _legend(self, canvas: Canvas) -> None:
        """Say what fills, lines and scale mean."""
        size = self.size
        y = 0.3 * size
        canvas.setFont(PLAIN, 0.85 * size)
        canvas.setFillColor(HexColor(INK))
        canvas.drawString(0.0, y, f"scale 1 : {plain(self.scale)} along the shaft")
        x = self.names
        for kind, label in KIND_LABELS.items():
            rows = [row for row in self.layout.rows if row.kind == kind]
            if not rows:
                continue
            box = (x, y - 0.15 * size, 2.6 * size, 0.95 * size)
            corners = [
                (box[0], box[1]),
                (box[0] + box[2], box[1]),
                (box[0] + box[2], box[1] + box[3]),
                (box[0], box[1] + box[3]),
            ]
            canvas.saveState()
            canvas.clipPath(_path(canvas, corners), stroke=0, fill=0)
            _fibres(canvas, rows[0], box)
            canvas.restoreState()
            canvas.setStrokeColor(HexColor(INK))
            canvas.rect(*box, stroke=1, fill=0)
            canvas.setFillColor(HexColor(INK))
            canvas.drawString(x + 3.1 * size, y, label)
            x += 4.4 * size + text_width(label, 0.85 * size)
        notes = ["solid lines: finished ends"]
        if self.layout.tip_parallel:
            unit = self.units.length
            parallel = f"shaded: tip parallel, {unit.short(self.layout.tip_parallel)}"
            if self.layout.tip_blend:
                parallel += f" (blend {unit.short(self.layout.tip_blend)} beyond it)"
            notes.append(parallel)
        canvas.drawString(x, y, "; ".join(notes))


def _path(canvas: Canvas, corners: list[tuple[float, float]]) -> PDFPathObject:
    """Make a closed path through corners."""
    path = canvas.beginPath()
    path.moveTo(*corners[0])
    for corner in corners[1:]:
        path.lineTo(*corner)
    path.close()
    return path


def _fibres(
    canvas: Canvas, row: MapRow, box: tuple[float, float, float, float]
) -> None:
    """Fill a box with a kind's colour and lines along its fibres."""
    x, y, wide, high = box
    canvas.setFillColor(HexColor(KIND_COLOURS[row.kind]))
    canvas.rect(x, y, wide, high, stroke=0, fill=1)
    canvas.setStrokeColor(_FIBRES)
    canvas.setLineWidth(0.25)
    angles = (row.angle, -row.angle) if row.is_pair else (row.angle,)
    gap = 1.1 * MM
    for angle in angles:
        lean, rise = math.cos(angle), math.sin(angle)
        if abs(rise) < 0.01:
            n = max(2, round(high / gap))
            for i in range(1, n):
                canvas.line(x, y + high * i / n, x + wide, y + high * i / n)
            continue
        shift = high * lean / rise
        step = gap / abs(rise)
        at = x - max(shift, 0.0)
        while at < x + wide - min(shift, 0.0):
            canvas.line(at, y, at + shift, y + high)
            at += step


def _shrunk(text: str, room: float, size: float) -> tuple[str, float]:
    """Text and size that fit a room: made smaller first, then cut short."""
    text = drawn(text)
    need = text_width(text, size)
    if need <= room:
        return text, size
    least = 0.8 * size
    if need * 0.8 <= room:
        return text, size * room / need
    while text and text_width(text + "…", least) > room:
        text = text[:-1]
    return text.rstrip() + "…", least
