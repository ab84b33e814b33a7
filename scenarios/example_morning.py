"""The morning after a search: look at its front, choose, explain, change, save.

Works like a notebook, cell by cell. The shop, its prices and the brief are invented.
Run it with a folder to write to:  python scenarios/example_morning.py results/morning
"""

import sys
from pathlib import Path

from optimiser.explain_text import share_headings, shares_table
from optimiser.inputs import packaged_scenarios
from optimiser.notebook import (
    figure,
    front_of,
    open_shaft,
    plot_flag_map,
    plot_profiles,
    plot_shares,
    plot_tradeoff,
)
from optimiser.plots import save_png
from optimiser.review import suggest, suggested
from optimiser.run import run_spec


def main(folder: Path, evaluations: int = 20_000) -> None:
    """Search, then do what an engineer does in the morning."""
    # %% a search of the night (invented brief), here a short one
    spec = packaged_scenarios() / "hybrid_85" / "spec.toml"
    run = run_spec(spec, out=folder / "run", evaluations=evaluations)

    # %% its front is a table
    front = front_of(run.folder)
    print(front[["weight_g", "frequency_cpm", "torque_deg", "material_cost"]].head())
    print(f"{len(front)} designs, torque from {front['torque_deg'].min():.2f} deg")

    # %% functions take axes and give them back
    page = figure(5.2)
    plot_tradeoff(page.subplots(), front.reset_index(drop=True))
    save_png(page, folder / "tradeoff.png")

    # %% one design shows itself in a notebook as a table with its flag map
    pick = suggested(suggest(run.front, run.spec))
    if pick is None:
        raise SystemExit("no design was found; search longer")
    shaft = open_shaft(run.folder, pick.design_id)
    print(shaft.flags[["flag", "material", "angle_deg", "wraps", "mass_g"]])

    # %% what does each flag contribute?
    explanation = shaft.explanation
    print(shares_table(explanation).to_string(index=False))
    page = figure(9.0)
    top, bottom = page.subplots(2, 1)
    plot_shares(top, explanation, share_headings(explanation))
    plot_flag_map(bottom, shaft.report, shaft.mandrel)
    save_png(page, folder / "shares.png")

    # %% half a wrap more of the first flag: a second design beside the first
    changed = shaft.changed("#1: wraps += 0.5")
    beside = shaft.metrics[["label", "unit", "value"]].assign(
        changed=changed.metrics["value"], state=changed.metrics["state"]
    )
    print(beside.to_string(index=False))
    for line in changed.misses:
        print("misses:", line)
    page = figure(6.4)
    plot_profiles(page.subplots(2, 1), [shaft.report, changed.report], run.spec)
    save_png(page, folder / "profiles.png")

    # %% a file for the shop's drawer; one that is there is never written over
    print("wrote", changed.save(folder / "half_a_wrap_more.toml"))


if __name__ == "__main__":
    main(Path(sys.argv[1] if len(sys.argv) > 1 else "results/morning"))
