"""Shafts, a spec and a front for the tests of what is shown to people; all invented."""

import math
from pathlib import Path

import pandas as pd

from model import (
    METRICS,
    Design,
    Finish,
    Flag,
    Library,
    Report,
    Shaft,
    evaluate,
    read_library,
)
from optimiser.spec import Spec
from optimiser.spec_file import read_spec

LENGTH = 1.067

SPEC = """
format = 1
name = "fairway trial spec"
[shaft]
length = "1067 mm"
mandrel = "slim-5"
mandrel_set = "70 mm"
trim_tip = "10 mm"
trim_butt = "15 mm"
[finish]
tip_diameter = "8.5 mm"
tip_parallel = "76 mm"
[targets]
frequency = { target = "250 cpm", tolerance = "10 cpm" }
weight = { target = "57.25 g", tolerance = "1.5 g" }
torque = { trade = "less", at_most = "6.4 deg" }
material_cost = { trade = "less" }
durability = { trade = "more", at_least = 0.15 }
[[targets.ei_at]]
station = "200 mm"
target = "26 N m^2"
tolerance = "2 N m^2"
[[place]]
name = "torque pair"
material = ["high-85", "high-100"]
angle = "±45"
start = "0 mm"
end = "1067 mm"
wraps = { from = 1, to = 4, step = 0.5 }
[[place]]
name = "cover"
material = "standard-125"
angle = "0"
start = "0 mm"
end = "1067 mm"
wraps = { from = 1, to = 4, step = 0.5 }
"""


def a_flag(
    name: str,
    material: str,
    angle: float,
    start: float,
    end: float,
    wraps: float,
    *,
    pair: bool = False,
    tip: float = 0.0,
    butt: float = 0.0,
    clock: float | None = None,
) -> Flag:
    return Flag(
        name=name,
        material=material,
        angle=math.radians(angle),
        is_pair=pair,
        start=start,
        end=end,
        wraps=wraps,
        run_out_tip=tip,
        run_out_butt=butt,
        clock=clock,
    )


def usual_design(name: str = "fairway trial") -> Design:
    """Eight flags: every direction, run-outs, hard ends, trims, a ground tip."""
    return Design(
        name=name,
        shaft=Shaft(
            length=LENGTH,
            mandrel="slim-5",
            mandrel_set=0.070,
            trim_tip=0.010,
            trim_butt=0.015,
        ),
        finish=Finish(
            grind=5e-5,
            tip_diameter=0.0085,
            tip_parallel=0.076,
            tip_blend=0.050,
            coating=0.060,
            resin_bleed=0.01,
        ),
        flags=(
            a_flag("torque pair", "high-85", 45, 0.0, LENGTH, 2.5, pair=True),
            a_flag("tip hoop", "standard-30", 90, 0.0, 0.300, 1, butt=0.040),
            a_flag("tip stiffener", "intermediate-100", 0, 0.0, 0.260, 6, butt=0.060),
            a_flag("tip filler", "standard-150", 0, 0.0, 0.150, 5, butt=0.060),
            a_flag(
                "butt bias", "standard-125", 45, 0.62, LENGTH, 0.5, pair=True, tip=0.06
            ),
            a_flag("body", "intermediate-100", 0, 0.0, LENGTH, 2),
            a_flag("butt hoop", "standard-30", 90, 0.5, LENGTH, 1),
            a_flag("cover", "standard-125", 0, 0.0, LENGTH, 2),
        ),
    )


def long_design() -> Design:
    """Fourteen flags with the longest names and a driver's length."""
    length = 1.168
    flags = []
    for i in range(14):
        name = f"full-length reinforcement number {i + 1} of the long-named family"
        if i % 3:
            name = f"averyveryverylongunbrokenflagname_{i + 1}_withoutanyspaces"
        if i in (0, 2, 5, 8, 11, 13):
            flags.append(
                a_flag(
                    name,
                    "intermediate-100" if i > 5 else "very-high-85",
                    45 if i < 6 else 0,
                    0.0,
                    length,
                    0.75,
                    pair=i < 6,
                )
            )
        else:
            flags.append(
                a_flag(
                    name,
                    "standard-30" if i % 3 == 0 else "intermediate-30",
                    90 if i % 3 == 0 else 0,
                    0.03 * i if i % 2 else 0.0,
                    0.25 + 0.06 * i,
                    0.75 + 0.25 * (i % 3),
                    tip=0.02,
                    butt=0.05,
                )
            )
    return Design(
        name="the quite extraordinarily long working title of a driver shaft, second "
        "revision after the autumn trials",
        shaft=Shaft(length=length, mandrel="driver-5", mandrel_set=0.060),
        flags=tuple(flags),
    )


def the_library() -> Library:
    return read_library()


def a_report(design: Design | None = None) -> Report:
    return evaluate(design or usual_design(), the_library())


def a_spec(folder: Path, text: str = SPEC) -> Spec:
    path = folder / "spec.toml"
    path.write_text(text, encoding="utf-8")
    return read_spec(path, the_library())


def front_row(identity: str, **shown: float) -> dict[str, float | str]:
    """A row of a front: metrics by column, in the unit they are shown in."""
    usual: dict[str, float | str] = {
        "weight_g": 57.25,
        "balance_point_mm": 520.0,
        "frequency_cpm": 250.0,
        "torque_deg": 4.0,
        "tip_diameter_mm": 8.5,
        "butt_diameter_mm": 15.2,
        "tip_deflection_mm": 110.0,
        "butt_deflection_mm": 140.0,
        "flex_point_ratio_pct": 44.0,
        "material_cost": 10.0,
        "durability": 0.3,
        "cantilever_deflection_mm": 65.0,
        "torsion_strength_n_m": 40.0,
        "torsion_product_n_m_deg": 4500.0,
        "flattening": 4.0,
        "crush_load_n": 110.0,
        "impact": math.nan,
        "direction_spread_pct": 5.0,
    }
    assert set(usual) == {metric.column for metric in METRICS}
    assert set(shown) <= set(usual)
    return {"id": identity, **usual, **shown}


def small_front() -> pd.DataFrame:
    """Five designs whose picks can be told by hand.

    Of the ranges cost 8..16, torque 3..5, durability 0.2..0.6, design `k` loses
    0.25 + 0.25 + 0.25; the others lose at least 1.5 in all.
    """
    return pd.DataFrame(
        [
            front_row("c", material_cost=8.0, torque_deg=5.0, durability=0.3),
            front_row("t", material_cost=16.0, torque_deg=3.0, durability=0.4),
            front_row("d", material_cost=14.0, torque_deg=4.8, durability=0.6),
            front_row(
                "k",
                material_cost=10.0,
                torque_deg=3.5,
                durability=0.5,
                frequency_cpm=259.0,
            ),
            front_row(
                "m",
                material_cost=15.0,
                torque_deg=4.5,
                durability=0.2,
                frequency_cpm=252.0,
            ),
        ]
    ).assign(
        # the band is 55.75 to 58.75 g: 70 % of its half used by c, t, d, 20 % by m
        weight_g=[58.30, 58.30, 58.30, 57.30, 57.55]
    )
