"""What a bench value is measured with, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from optimiser.shop_units import SI, ShopUnits
from optimiser.words import plain

if TYPE_CHECKING:
    from model import Design


def bench_setup(design: Design, key: str, units: ShopUnits = SI) -> str:
    """Say what to measure with, for a value that compares with a metric.

    Parameters
    ----------
    design : Design
        Its bench tests are described. [-]
    key : str
        Key of the metric. [-]
    units : ShopUnits
        Units it is written in. [-]

    Returns
    -------
    text : str
        One line; empty for a metric that no bench measures. [-]
    """
    bench = design.bench
    length = units.length

    def at(station: float) -> str:
        return f"{length.text(station)} {length.unit}"

    if key == "frequency":
        extra = ""
        if bench.tip_mass_offset:
            extra += f", its centre {at(bench.tip_mass_offset)} beyond the tip"
        if bench.tip_mass_inertia:
            extra += f", inertia {units.inertia.short(bench.tip_mass_inertia)}"
        if bench.frequency_clamp_compliance:
            give = units.give.short(bench.frequency_clamp_compliance)
            extra += f", clamp turning {give}"
        return (
            f"last {at(bench.frequency_clamp)} of the butt clamped, "
            f"{plain(bench.tip_mass * 1e3)} g at the tip{extra}"
        )
    if key == "torque":
        clamp = f"last {at(bench.torque_clamp)} of the butt clamped"
        if bench.torque_clamp_at is not None:
            clamp = f"clamped from {at(bench.torque_clamp_at)} (from the tip)"
        return (
            f"{clamp}, first {at(bench.torque_grip)} of the tip gripped, couple "
            f"{units.moment.short(bench.torque_moment)}"
        )
    if key == "tip_deflection":
        return (
            f"drop under {units.force.short(bench.tip_load)} at "
            f"{at(bench.tip_load_at)} from the tip, held down at "
            f"{length.text(bench.tip_hold)}, supported at {at(bench.tip_support)}"
        )
    if key == "butt_deflection":
        return (
            f"drop under {units.force.short(bench.butt_load)} at "
            f"{at(bench.butt_load_at)} from the butt, held down at "
            f"{length.text(bench.butt_hold)}, supported at {at(bench.butt_support)}"
        )
    if key == "cantilever_deflection":
        return (
            f"last {at(bench.cantilever_clamp)} of the butt clamped, "
            f"{units.force.short(bench.cantilever_load)} at "
            f"{at(bench.cantilever_load_at)} from the tip"
        )
    if key in ("torsion_strength", "torsion_product"):
        return f"{at(bench.torsion_grip)} gripped at either end; predicted, no test"
    if key == "crush_load":
        return f"weakest ring {at(bench.crush_width)} wide, first ply to fail"
    if key == "impact" and bench.impact_moment:
        return (
            f"least margin under {units.moment.short(bench.impact_moment)} at "
            f"{at(bench.impact_at)}, none from {at(bench.impact_to)} (from tip)"
        )
    if key == "flattening":
        return "least margin against ovalising under the same moments as durability"
    if key == "direction_spread":
        return "largest less least EI round the clock over their mean, worst station"
    if key == "durability":
        return (
            f"least fibre margin under {units.moment.short(bench.strength_moment)} "
            f"from {at(bench.strength_from)} (tip) to {at(bench.strength_to)} (butt)"
        )
    paint = " with paint" if design.finish.coating else ""
    fixed = {
        "weight": f"bare finished shaft{paint}",
        "balance_point": f"centre of mass from the butt end, bare shaft{paint}",
        "tip_diameter": "at the tip end, before paint",
        "butt_diameter": "at the butt end, before paint",
        "flex_point_ratio": "tip deflection over tip plus butt deflection",
    }
    return fixed.get(key, "")
