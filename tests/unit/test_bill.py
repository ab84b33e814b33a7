import dataclasses
import io

import pandas as pd
import pytest

from model import (
    Costs,
    InputError,
    PriceBreak,
    design_to_text,
    evaluate,
    pieces_of,
    read_library,
)
from optimiser.bill import bill_of, bill_table, bill_text
from optimiser.cli import main
from optimiser.sheet import lays_of
from tests.unit.shown_shafts import the_library, usual_design

pytestmark = pytest.mark.usefixtures("brisk_lays")

BATCH = 3
COSTS = Costs(
    labour_per_flag=0.75,
    labour_per_shaft=4.0,
    consumables_per_shaft=1.5,
    scrap=0.04,
)
LIBRARY = the_library()
PLAIN = usual_design()
CUTTING = dataclasses.replace(PLAIN.cutting, batch=BATCH)
DESIGN = dataclasses.replace(PLAIN, costs=COSTS, cutting=CUTTING)


def with_price(library, name, factor):
    prepreg = library.prepregs[name]
    dearer = dataclasses.replace(prepreg, price=factor * prepreg.price)
    return dataclasses.replace(library, prepregs={**library.prepregs, name: dearer})


@pytest.fixture(scope="module")
def made():
    report = evaluate(DESIGN, LIBRARY)
    return report, lays_of(report, LIBRARY, pieces_of(report, LIBRARY), BATCH)


@pytest.fixture(scope="module")
def bill(made):
    return bill_of(made[0], LIBRARY, made[1])


def test_a_bill_is_quantity_times_price(bill, made):
    """Added up by hand: roll cut off, prepreg mass by fibre mass and resin content."""
    report, lays = made
    prepregs = 0.0
    for lay, line in zip(lays, bill.materials, strict=True):
        row = LIBRARY.prepregs[lay.material]
        roll = lay.length * row.roll_width
        prepregs += roll * row.price
        assert line.mass_roll == pytest.approx(roll * row.faw / (1 - row.resin_content))
        assert line.area_waste + line.area_net == pytest.approx(roll)
    n = len(DESIGN.flags)
    made_cost = prepregs / BATCH + 0.75 * n + 4.0 + 1.5
    assert bill.cost == pytest.approx(BATCH * made_cost)
    assert bill.cost_sold == pytest.approx(made_cost / 0.96)
    cut = sum(flag.mass_cut for flag in report.flags)
    assert sum(line.mass_net for line in bill.materials) == pytest.approx(
        BATCH * cut, rel=1e-3
    )


def test_a_bill_reckoned_by_area_is_the_cost_that_a_search_sees(bill, made):
    assert bill.cost_reckoned == pytest.approx(made[0].metrics["material_cost"])


def test_costs_enter_the_cost_of_a_design():
    plain = evaluate(dataclasses.replace(DESIGN, costs=Costs()), LIBRARY)
    rolls = plain.metrics["material_cost"]
    found = evaluate(DESIGN, LIBRARY).metrics["material_cost"]
    assert rolls == pytest.approx(sum(flag.cost for flag in plain.flags))
    assert found == pytest.approx((rolls + 0.75 * len(DESIGN.flags) + 5.5) / 0.96)
    assert plain.design_id != evaluate(DESIGN, LIBRARY).design_id


def test_an_effect_is_what_the_dearer_library_costs_more(bill, made):
    for effect in bill.effects(0.10):
        if effect.what not in LIBRARY.prepregs:
            continue
        dearer = bill_of(made[0], with_price(LIBRARY, effect.what, 1.1), made[1])
        cheaper = bill_of(made[0], with_price(LIBRARY, effect.what, 0.9), made[1])
        assert dearer.cost - bill.cost == pytest.approx(effect.change_batch)
        assert cheaper.cost_sold - bill.cost_sold == pytest.approx(-effect.change_shaft)
    assert sum(one.share_of_cost for one in bill.effects()) == pytest.approx(1.0)


def test_a_batch_that_is_large_enough_has_the_better_price(bill, made):
    line = bill.materials[0]
    for area, price, ahead in (
        (line.area_roll, 0.8 * line.list_price, None),
        (1.001 * line.area_roll, line.list_price, 1.001 * line.area_roll),
    ):
        step = PriceBreak(prepreg=line.material, area=area, price=0.8 * line.list_price)
        library = dataclasses.replace(LIBRARY, price_breaks={line.material: (step,)})
        found = bill_of(made[0], library, made[1]).materials[0]
        assert (found.price, found.next_area) == (price, ahead)


def test_a_bill_as_a_table_adds_up(bill):
    text = bill_table(bill).to_csv(index=False)
    table = pd.read_csv(io.StringIO(text)).set_index("line")
    lines = table.drop("total")
    whole = lines["quantity"] * lines["price"]
    assert whole.sum() == pytest.approx(table.loc["total", "cost_batch"], abs=1e-2)
    shaft = table.loc["total", "cost_sold_shaft"]
    assert lines["cost_sold_shaft"].sum() == pytest.approx(shaft, abs=1e-3)
    short = bill_text(bill)
    assert f"{bill.cost_sold:.3f}" in short
    assert "4 % of the shafts made are not sold" in short


BREAKS = "prepreg,from_m2,price_per_m2\n"


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ("standard-75,50,9\nstandard-75,20,8\n", "Areas rise"),
        ("standard-75,50,9\nstandard-75,80,9.5\n", "Prices fall"),
        ("standart-75,50,9\n", "standard-75"),
        ("standard-75,-1,9\n", "from_m2"),
    ],
)
def test_price_breaks_that_cannot_be(tmp_path, rows, said):
    for name, text in LIBRARY.files.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    (tmp_path / "price_breaks.csv").write_text(BREAKS + rows, encoding="utf-8")
    with pytest.raises(InputError, match=r"price_breaks\.csv") as caught:
        read_library(tmp_path)
    assert said in str(caught.value)


def test_the_command_prints_the_bill_and_reads_price_breaks(tmp_path, capsys):
    for name, text in LIBRARY.files.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    (tmp_path / "price_breaks.csv").write_text(
        BREAKS + "standard-125,0.1,6\nstandard-125,900,5\n", encoding="utf-8"
    )
    design = tmp_path / "design.toml"
    design.write_text(design_to_text(PLAIN), encoding="utf-8")
    out = tmp_path / "out"
    command = f"sheet {design} --library {tmp_path} --part bill --batch 1 --out {out}"
    assert main(command.split()) == 0
    said = capsys.readouterr().out
    assert "standard-125" in said
    assert "proof tests" in said
    table = pd.read_csv(tmp_path / "out" / "bill.csv").set_index("line")
    assert table.loc["standard-125", "price"] == 6.0
    assert table.loc["standard-125", "next_price_from_m2"] == 900.0
