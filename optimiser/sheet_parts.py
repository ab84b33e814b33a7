"""Parts of the layup sheet: flags, bench, diameters, margins, materials, signatures."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from reportlab.lib.colors import HexColor
from reportlab.platypus import Flowable, KeepTogether, Spacer, Table

from model import angle_text
from optimiser.flagmap import INK
from optimiser.sheet_blocks import QUIET, RULE, Cell, Letters
from optimiser.sheet_tables import (
    bench_rows,
    check_diameters,
    clock_degrees,
    material_totals,
)
from optimiser.sheet_type import PLAIN, Side, paragraph, undrawn
from optimiser.shop_units import warnings_in
from optimiser.words import CAUTIONS, NONE, number, plain, turns_text

if TYPE_CHECKING:
    from model import Report
    from optimiser.spec import Spec

#: What the sheet says of cure and handling: nothing that a supplier would contradict.
CURE: Final = (
    "This sheet gives no cure cycle: temperature, ramp, pressure and time, storage, "
    "thawing and out-time are those of the prepreg supplier's sheet and of qualified "
    "practice. Gloves, extraction and breathing protection while cutting, curing and "
    "grinding per the supplier's safety sheet and local rules."
)


def flags_part(letters: Letters, report: Report) -> Table:
    """List the flags in rolling order with their totals."""
    units = letters.units
    length, area, mass = units.length.text, units.area, units.mass
    mandrel_set = report.design.shaft.mandrel_set
    heads: list[tuple[str, float, Side]] = [
        ("No.", 7.5, "left"),
        ("Flag", 32.0, "left"),
        ("Material", 30.0, "left"),
        ("Angle, deg", 11.5, "right"),
        ("From tip: start", 14.5, "right"),
        ("end", 14.5, "right"),
        ("On mandrel: start", 16.5, "right"),
        ("end", 14.5, "right"),
        ("Wraps", 13.0, "right"),
        ("Run-out tip / butt", 21.0, "right"),
        ("Cut length", 14.5, "right"),
        ("Pieces", 15.0, "right"),
        ("Clock, deg", 10.0, "right"),
        (f"Net, {area.unit}", 13.5, "right"),
        (f"Gross, {area.unit}", 14.0, "right"),
        ("Mass as cut,\u00a0g", 14.5, "right"),
        ("Initials", 17.5, "center"),
    ]
    rows = []
    for order, (cut, flag, clock) in enumerate(
        zip(report.flags, report.design.flags, clock_degrees(report), strict=True),
        start=1,
    ):
        outs = NONE
        if flag.run_out_tip or flag.run_out_butt:
            outs = f"{length(flag.run_out_tip)} / {length(flag.run_out_butt)}"
        joins = f", {cut.splices} join{'s' * (cut.splices > 1)}"
        row = [
            str(order),
            cut.name,
            cut.material,
            angle_text(cut.angle, is_pair=cut.is_pair),
            length(cut.start),
            length(cut.end),
            length(mandrel_set + float(cut.cut_station[0])),
            length(mandrel_set + float(cut.cut_station[-1])),
            turns_text(cut),
            outs,
            length(cut.cut_length),
            f"{cut.pieces}{joins if cut.splices else ''}",
            plain(clock, 1),
            area.text(cut.area_net),
            area.text(cut.area_gross),
            mass.text(cut.mass_cut),
            "",
        ]
        rows.append(row)
    total = ["", "Total", *[""] * (len(heads) - 6)]
    total += [
        area.text(sum(flag.area_net for flag in report.flags)),
        area.text(sum(flag.area_gross for flag in report.flags)),
        mass.text(sum(flag.mass_cut for flag in report.flags)),
        "",
    ]
    # initials fit a row as it is; the room for writing is for measured values
    return letters.table(
        heads, rows, total=total, boxes=(len(heads) - 1,), is_low=letters.is_tight
    )


def bench_part(letters: Letters, report: Report, spec: Spec | None) -> Table:
    """Predicted bench values, what is accepted, room for what is measured."""
    heads: list[tuple[str, float, Side]] = [
        ("Quantity", 33.0, "left"),
        ("Set-up", 60.0, "left"),
        ("Predicted", 17.5, "right"),
        ("Accept", 27.5, "right"),
        ("Measured", 16.0, "center"),
        ("Initials", 12.0, "center"),
    ]
    rows: list[list[str]] = []
    outside = set()
    for row in bench_rows(report, spec, letters.units):
        unit = f" [{row.unit}]" if row.unit else ""
        predicted = "does not fit"
        if row.predicted is not None:
            predicted = number(row.predicted, row.decimals)
            if not row.low <= row.predicted <= row.high:
                outside.add((len(rows), 2))
                predicted += " (out)"
        rows.append([row.label + unit, row.setup, predicted, row.accept, "", ""])
    return letters.table(heads, rows, boxes=(4, 5), bold=outside, whole=(1,))


def diameters_part(letters: Letters, report: Report) -> Table:
    """Diameters at the inspector's stations."""
    length, diameter = letters.units.length.text, letters.units.diameter.text
    heads: list[tuple[str, float, Side]] = [
        ("From tip", 14.0, "right"),
        ("On mandrel", 17.0, "right"),
        ("Bore", 13.0, "right"),
        ("Built", 13.0, "right"),
        ("Measured", 18.0, "center"),
        ("Ground", 14.0, "right"),
        ("Measured", 18.0, "center"),
    ]
    rows = [
        [
            length(row.station),
            length(row.on_mandrel),
            diameter(row.bore),
            diameter(row.build),
            "",
            diameter(row.ground),
            "",
        ]
        for row in check_diameters(report, letters.units)
    ]
    return letters.table(heads, rows, boxes=(4, 6))


def strength_part(letters: Letters, report: Report) -> Table:
    """Margins at the strength points and over the envelope."""
    units = letters.units
    moment = units.moment.unit.replace(" ", "\u00a0")
    heads: list[tuple[str, float, Side]] = [
        ("Point", 16.0, "left"),
        (f"Station, {units.length.unit}", 14.0, "right"),
        (f"Moment, {moment}", 15.0, "right"),
        ("Fibre margin", 14.0, "right"),
        ("Governing flag", 27.0, "left"),
        ("Mode", 25.0, "left"),
        ("Cracking*", 15.5, "right"),
    ]
    rows = [
        [
            point.name,
            units.length.text(point.station),
            NONE
            if point.moment is None
            else number(point.moment * units.moment.per_si, 1),
            number(point.margin, 3),
            point.flag or NONE,
            point.mode or "does not fit",
            number(point.cracking_margin, 3),
        ]
        for point in report.strength
    ]
    short = {
        (i, 3)
        for i, point in enumerate(report.strength)
        if point.margin is not None and point.margin < 0.0
    }
    return letters.table(heads, rows, bold=short)


def materials_part(letters: Letters, report: Report) -> Table:
    """Totals by material, with room for the roll that was used."""
    area, mass = letters.units.area, letters.units.mass
    currency = f"Cost, {report.currency}" if report.currency else "Cost"
    heads: list[tuple[str, float, Side]] = [
        ("Material", 38.0, "left"),
        ("Flags", 11.0, "right"),
        ("Pieces", 12.0, "right"),
        (f"Net, {area.unit}", 14.0, "right"),
        (f"Gross, {area.unit}", 15.5, "right"),
        ("As cut, g", 14.0, "right"),
        (currency, 16.0, "right"),
        ("Roll or lot used", 26.5, "center"),
    ]
    totals = material_totals(report)
    rows = [
        [
            row.material,
            str(row.flags),
            str(row.pieces),
            area.text(row.area_net),
            area.text(row.area_gross),
            mass.text(row.mass_cut),
            number(row.cost, 2),
            "",
        ]
        for row in totals
    ]
    total = [
        "Total",
        str(sum(row.flags for row in totals)),
        str(sum(row.pieces for row in totals)),
        area.text(sum(row.area_net for row in totals)),
        area.text(sum(row.area_gross for row in totals)),
        mass.text(sum(row.mass_cut for row in totals)),
        number(sum(row.cost for row in totals), 2),
        "",
    ]
    return letters.table(heads, rows, total=total, boxes=(7,))


def names_undrawn(
    report: Report, spec: Spec | None = None, revision: str = ""
) -> tuple[str, ...]:
    """Say which names on the papers have letters that no font of this machine has.

    Parameters
    ----------
    report : Report
        An evaluated design. [SI]
    spec : Spec or None
        Spec that is named. [SI]
    revision : str
        Revision that is printed. [-]

    Returns
    -------
    notes : tuple of str
        One line for each name, with those letters by their numbers. [-]
    """
    names = [
        ("design", report.design.name),
        ("spec", "" if spec is None else spec.name),
        ("revision", revision),
        ("mandrel", report.design.shaft.mandrel),
        *((f"flag {i}", flag.name) for i, flag in enumerate(report.flags, start=1)),
        *(("material", row.material) for row in material_totals(report)),
        ("currency", report.currency),
    ]
    return undrawn(names)


def notes_part(
    letters: Letters, report: Report, spec: Spec | None, revision: str = ""
) -> list[Flowable]:
    """Say what the numbers mean and what the evaluation warned about."""
    moment = letters.units.moment.short(report.design.bench.strength_moment)
    notes = [
        "Margins at the points T, A, B, C of the strength test and at the worst "
        "station (envelope): least allowable over actual strain, less one, under "
        f"{moment}. "
        "*Cracking along the fibres does not by itself break a shaft and does not "
        "gate.",
        "Gross areas and cost: roll as a search reckons it, of one of "
        f"{report.design.cutting.batch} shafts cut together; lays and bill count the "
        "roll of their own batch.",
        *_hung_notes(letters, report, spec),
        *(f"Note: {warning}" for warning in warnings_in(report, letters.units)),
        *(f"Note: {said}." for said in names_undrawn(report, spec, revision)),
    ]
    return [paragraph(note, 0.86 * letters.size, colour=QUIET) for note in notes]


def _hung_notes(letters: Letters, report: Report, spec: Spec | None) -> list[str]:
    """Say what the bench reads where small deflections no longer hold well."""
    hung = [
        f"{row.label.lower()} {number(row.bench_reads, row.decimals)} {row.unit}"
        for row in bench_rows(report, spec, letters.units)
        if row.bench_reads is not None
    ]
    if not hung:
        return []
    return [
        "Predicted deflections and their bands are by small-deflection theory; a "
        f"bench reads {', '.join(hung)}."
    ]


def sign_off(letters: Letters) -> Flowable:
    """Cautions, and places to sign."""
    fields = (
        "Shaft no.",
        "Cut by",
        "Rolled by",
        "Cured, batch and cycle",
        "Ground by",
        "Inspected by",
    )
    labels: list[Cell] = [
        paragraph(
            f"{field} (initials, date)" if " by" in field else field,
            0.78 * letters.size,
            colour=QUIET,
        )
        for field in fields
    ]
    boxes = Table(
        [labels, [""] * len(fields)],
        [letters.width / len(fields)] * len(fields),
        [1.5 * letters.size, (2.2 if letters.is_tight else 2.6) * letters.size],
        style=[
            ("FONTNAME", (0, 0), (-1, -1), PLAIN),
            ("LEFTPADDING", (0, 0), (-1, -1), 3),
            ("TOPPADDING", (0, 0), (-1, -1), 1),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 0),
            ("BOX", (0, 0), (-1, -1), 0.8, HexColor(INK)),
            ("LINEBEFORE", (1, 0), (-1, -1), 0.5, RULE),
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ],
    )
    caution = paragraph(" ".join(CAUTIONS), 0.9 * letters.size, bold=True)
    cure = paragraph(CURE, 0.86 * letters.size)
    return KeepTogether([Spacer(1, 2), caution, cure, Spacer(1, 3), boxes])
