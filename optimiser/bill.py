"""What a batch of a design costs: prepreg by the roll, work, consumables, scrap.

Every cost is a quantity times a price, so that a table of it can reckon by itself.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import pandas as pd

from model import evaluate
from optimiser.shop_units import SI, ShopUnits

if TYPE_CHECKING:
    from model import Costs, Library, Report
    from optimiser.nesting import Lay

#: Change of a price whose effect is stated. [-]
CHANGE: Final = 0.10


@dataclass(frozen=True, slots=True, kw_only=True)
class BillMaterial:
    """One prepreg of a batch, as it is cut off its roll."""

    material: str  #: prepreg
    pieces: int  #: of the whole batch [-]
    area_net: float  #: of them [m²]
    roll_width: float  #: [m]
    roll_length: float  #: cut off [m]
    area_reckoned: float  #: of roll, as the search reckons it for such a batch [m²]
    areal_mass: float  #: of the uncured prepreg, without its carrier [kg/m²]
    list_price: float  #: [currency/m²]
    price: float  #: for as much as is cut off, with price breaks [currency/m²]
    next_area: float | None  #: area from which it costs less, if there is one [m²]

    @property
    def area_roll(self) -> float:
        """Area cut off the roll. [m²]."""
        return self.roll_length * self.roll_width

    @property
    def share_used(self) -> float:
        """Area of pieces over area of roll. [-]."""
        return self.area_net / self.area_roll

    @property
    def area_waste(self) -> float:
        """What is left over. [m²]."""
        return self.area_roll - self.area_net

    @property
    def mass_net(self) -> float:
        """Mass of the pieces. [kg]."""
        return self.area_net * self.areal_mass

    @property
    def mass_roll(self) -> float:
        """Mass of what is cut off. [kg]."""
        return self.area_roll * self.areal_mass

    @property
    def cost(self) -> float:
        """Cost of what is cut off. [currency]."""
        return self.area_roll * self.price


@dataclass(frozen=True, slots=True, kw_only=True)
class BillOther:
    """What a batch costs beside its prepregs, of one kind."""

    what: str  #: such as "labour on flags"
    unit: str  #: what is counted: "flag" or "shaft"
    quantity: float  #: of the whole batch [-]
    price: float  #: [currency]

    @property
    def cost(self) -> float:
        """Cost of the batch. [currency]."""
        return self.quantity * self.price


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceEffect:
    """What a change of one price does."""

    what: str  #: prepreg, or what else is paid
    share_of_cost: float  #: that it has now [-]
    change_batch: float  #: of the cost of the batch, for CHANGE of the price [currency]
    change_shaft: float  #: of the cost of a shaft that is sold [currency]


@dataclass(frozen=True, slots=True, kw_only=True)
class Bill:
    """Bill of materials and cost of a batch."""

    design: str  #: its name
    id: str  #: its id
    currency: str  #: empty if not stated
    batch: int  #: shafts made [-]
    scrap: float  #: share of them that is not sold [-]
    materials: tuple[BillMaterial, ...]  #: in the order they are first rolled
    other: tuple[BillOther, ...]  #: labour and consumables that cost anything

    @property
    def sold(self) -> float:
        """Shafts of the batch that are sold, as a mean. [-]."""
        return self.batch * (1.0 - self.scrap)

    @property
    def material_cost(self) -> float:
        """Cost of the prepregs of the batch. [currency]."""
        return sum(line.cost for line in self.materials)

    @property
    def cost(self) -> float:
        """Cost of the batch. [currency]."""
        return self.material_cost + sum(line.cost for line in self.other)

    @property
    def cost_made(self) -> float:
        """Cost of a shaft made. [currency]."""
        return self.cost / self.batch

    @property
    def cost_sold(self) -> float:
        """Cost of a shaft sold, which bears those that are not. [currency]."""
        return self.cost / self.sold

    @property
    def cost_reckoned(self) -> float:
        """The same as a search reckons it: list prices, roll by area. [currency]."""
        prepregs = sum(line.area_reckoned * line.list_price for line in self.materials)
        return (prepregs + sum(line.cost for line in self.other)) / self.sold

    def effects(self, change: float = CHANGE) -> tuple[PriceEffect, ...]:
        """What it would do if one price rose.

        Parameters
        ----------
        change : float
            Rise of the price as a share of it; a fall does the opposite. [-]

        Returns
        -------
        effects : tuple of PriceEffect
            The largest first. [currency]
        """
        lines = [(line.material, line.cost) for line in self.materials]
        lines += [(line.what, line.cost) for line in self.other]
        found = [
            PriceEffect(
                what=what,
                share_of_cost=cost / self.cost,
                change_batch=change * cost,
                change_shaft=change * cost / self.sold,
            )
            for what, cost in lines
        ]
        return tuple(sorted(found, key=lambda effect: -effect.change_batch))


def bill_of(report: Report, library: Library, lays: Sequence[Lay]) -> Bill:
    """Bill of the batch that was laid.

    Parameters
    ----------
    report : Report
        The design. [SI]
    library : Library
        Its materials, with their prices. [SI]
    lays : sequence of Lay
        Lays of all its materials, from ``sheet.lays_of``. [SI]

    Returns
    -------
    bill : Bill
        What the batch takes and costs. [SI, currency]
    """
    batch = lays[0].batch
    costs = report.design.costs
    reckoned = reckoned_areas(report, library, batch)
    materials = []
    for lay in lays:
        prepreg = library.prepregs[lay.material]
        steps = library.price_breaks.get(lay.material, ())
        materials.append(
            BillMaterial(
                material=lay.material,
                pieces=len(lay.laid),
                area_net=lay.area_net,
                roll_width=lay.roll_width,
                roll_length=lay.length,
                area_reckoned=reckoned[lay.material],
                areal_mass=prepreg.faw / (1.0 - prepreg.resin_content),
                list_price=prepreg.price,
                price=library.price_of(lay.material, lay.area),
                next_area=next((s.area for s in steps if s.area > lay.area), None),
            )
        )
    return Bill(
        design=report.design.name,
        id=report.design_id,
        currency=library.currency,
        batch=batch,
        scrap=costs.scrap,
        materials=tuple(materials),
        other=_other(costs, len(report.design.flags), batch),
    )


def _other(costs: Costs, n_flags: int, batch: int) -> tuple[BillOther, ...]:
    lines = (
        ("labour on flags", "flag", float(batch * n_flags), costs.labour_per_flag),
        ("labour on shafts", "shaft", float(batch), costs.labour_per_shaft),
        ("consumables", "shaft", float(batch), costs.consumables_per_shaft),
    )
    return tuple(
        BillOther(what=what, unit=unit, quantity=quantity, price=price)
        for what, unit, quantity, price in lines
        if price > 0.0
    )


def reckoned_areas(report: Report, library: Library, batch: int) -> Mapping[str, float]:
    """Area of roll that a batch takes as the search reckons it, by material.

    Parameters
    ----------
    report : Report
        The design. [SI]
    library : Library
        Its materials. [SI]
    batch : int
        Shafts. [-]

    Returns
    -------
    areas : mapping of str to float
        In the order the materials are first rolled. [m²]
    """
    design = report.design
    if design.cutting.batch != batch:
        cutting = replace(design.cutting, batch=batch)
        report = evaluate(replace(design, cutting=cutting), library)
    areas: dict[str, float] = {}
    for flag in report.flags:
        areas[flag.material] = areas.get(flag.material, 0.0) + batch * flag.area_gross
    return areas


def bill_table(bill: Bill, units: ShopUnits = SI) -> pd.DataFrame:
    """Bill as a table: one line for each price, then the totals.

    Parameters
    ----------
    bill : Bill
        Any bill. [SI]
    units : ShopUnits
        Units of the table; prices are for its unit of area. [-]

    Returns
    -------
    table : DataFrame
        Areas to 1 mm² or 1e-5 ft², lengths to 0.1 mm or 0.001 in, masses to 0.01 g or
        1e-5 lb, money to 0.0001, prices of prepregs to a digit more. [-]
    """
    length, area, bulk = units.length, units.area, units.bulk

    def per_area(price: float) -> float:
        return round(price / area.per_si, 5)

    effect = {one.what: one.change_shaft for one in bill.effects()}
    rows: list[dict[str, object]] = [
        {
            "line": line.material,
            "unit": area.suffix,
            "quantity": area.fine(line.area_roll),
            "price": per_area(line.price),
            "cost_batch": round(line.cost, 4),
            "cost_sold_shaft": round(line.cost / bill.sold, 4),
            "price_10_pct_up_per_sold_shaft": round(effect[line.material], 4),
            "list_price": per_area(line.list_price),
            area.column("next_price_from"): None
            if line.next_area is None
            else area.fine(line.next_area),
            "pieces": line.pieces,
            length.column("roll_width"): length.shown(line.roll_width),
            length.column("roll_length"): length.shown(line.roll_length),
            area.column("area_net"): area.fine(line.area_net),
            area.column("area_waste"): area.fine(line.area_waste),
            "used_pct": round(100.0 * line.share_used, 2),
            bulk.column("mass_net"): bulk.fine(line.mass_net),
            bulk.column("mass_roll"): bulk.fine(line.mass_roll),
            area.column("area_reckoned"): area.fine(line.area_reckoned),
        }
        for line in bill.materials
    ]
    rows += [
        {
            "line": line.what,
            "unit": line.unit,
            "quantity": round(line.quantity, 6),
            "price": round(line.price, 4),
            "cost_batch": round(line.cost, 4),
            "cost_sold_shaft": round(line.cost / bill.sold, 4),
            "price_10_pct_up_per_sold_shaft": round(effect[line.what], 4),
        }
        for line in bill.other
    ]
    rows.append(
        {
            "line": "total",
            "unit": "shaft made",
            "quantity": bill.batch,
            "price": round(bill.cost_made, 4),
            "cost_batch": round(bill.cost, 4),
            "cost_sold_shaft": round(bill.cost_sold, 4),
            "price_10_pct_up_per_sold_shaft": round(CHANGE * bill.cost_sold, 4),
        }
    )
    # whole numbers stay whole beside lines that have none
    return pd.DataFrame(rows).astype({"pieces": "Int64"})


def bill_text(bill: Bill, units: ShopUnits = SI) -> str:
    """Bill in short, for a terminal.

    Parameters
    ----------
    bill : Bill
        Any bill. [SI]
    units : ShopUnits
        Units of roll; prices are for its unit of area. [-]

    Returns
    -------
    text : str
        One line for each price, the totals, the effect of a price. [-]
    """
    run, area, bulk = units.run, units.area, units.bulk
    money = f" [{bill.currency}]" if bill.currency else ""
    effect = {one.what: one.change_shaft for one in bill.effects()}
    wide = max(16, *(len(name) for name in effect))
    lines = [
        f"{bill.design}, {bill.batch} shafts",
        f"{'':<{wide}}  {'roll ' + run.suffix:>8} {area.suffix:>8} "
        f"{bulk.suffix:>7} {'used %':>7} "
        f"{'price':>8} {'cost':>10} {'a shaft':>9} {'+10 %':>7}",
    ]
    lines += [
        f"{line.material:<{wide}}  {run.text(line.roll_length):>8} "
        f"{line.area_roll * area.per_si:8.3f} {bulk.text(line.mass_roll):>7} "
        f"{100.0 * line.share_used:7.1f} {line.price / area.per_si:8.2f} "
        f"{line.cost:10.2f} {line.cost / bill.sold:9.3f} {effect[line.material]:+7.3f}"
        for line in bill.materials
    ]
    for other in bill.other:
        counted = f"{other.quantity:g} {other.unit}s"
        lines.append(
            f"{other.what:<{wide}}  {counted:>33} {other.price:8.2f} "
            f"{other.cost:10.2f} {other.cost / bill.sold:9.3f} "
            f"{effect[other.what]:+7.3f}"
        )
    lines.append(
        f"{'total' + money:<{wide}}  {'':>33} {'':>8} {bill.cost:10.2f} "
        f"{bill.cost_sold:9.3f} {CHANGE * bill.cost_sold:+7.3f}"
    )
    if bill.scrap > 0.0:
        lines.append(
            f"{100.0 * bill.scrap:g} % of the shafts made are not sold; a shaft made "
            f"costs {bill.cost_made:.2f}."
        )
    lines.append(
        f"By area, as a search reckons such a batch: {bill.cost_reckoned:.3f} a shaft."
    )
    return "\n".join(lines)
