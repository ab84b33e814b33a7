"""Designs and fronts in a notebook: tables, pictures on given axes, small renderings.

>>> from optimiser.inputs import packaged_scenarios
>>> shaft = open_shaft(packaged_scenarios() / "designs" / "fairway-60.toml")
>>> shaft.flags["wraps"].to_list()
[4.0, 3.0, 1.0, 2.0, 1.0, 2.0, 4.0]
>>> stiffer = shaft.changed("body: wraps += 0.5")
>>> bool(stiffer.metrics.at["frequency_cpm", "value"] > 260)
True
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from html import escape
from pathlib import Path

import pandas as pd

from model import (
    Design,
    Fault,
    InputError,
    Library,
    Mandrel,
    Report,
    angle_text,
    design_to_text,
    evaluate,
)
from optimiser.beside import beside_rows, rule_breaks
from optimiser.chosen import choose, save_design
from optimiser.edits import Edit, apply_edits
from optimiser.explain import Explanation, explain
from optimiser.map_svg import map_svg
from optimiser.plot_explain import plot_along, plot_moves, plot_shares
from optimiser.plots import (
    figure,
    plot_flag_map,
    plot_history,
    plot_profiles,
    plot_tradeoff,
)
from optimiser.spec import Spec
from optimiser.store import open_run
from optimiser.words import CAUTIONS, NONE, number, titled

__all__ = [
    "ShownShaft",
    "figure",
    "front_of",
    "open_shaft",
    "plot_along",
    "plot_flag_map",
    "plot_history",
    "plot_moves",
    "plot_profiles",
    "plot_shares",
    "plot_tradeoff",
    "show",
]

_STATE_COLOURS = {"low": "#B3261E", "high": "#B3261E", "in": "#2F6B3A", "": "inherit"}


@dataclass(frozen=True)
class ShownShaft:
    """An evaluated design that shows itself as a table with its flag map."""

    report: Report
    library: Library
    spec: Spec | None = None  #: whose bands stand beside its metrics
    library_folder: Path | None = None  #: where the library was read from

    @property
    def design(self) -> Design:
        """The design."""
        return self.report.design

    @property
    def mandrel(self) -> Mandrel:
        """Its mandrel."""
        return self.library.mandrels[self.design.shaft.mandrel]

    @property
    def flags(self) -> pd.DataFrame:
        """Flags in rolling order, from 1; units in the names of the columns."""
        table = pd.DataFrame(
            [
                {
                    "flag": rolled.name,
                    "material": rolled.material,
                    "angle_deg": angle_text(rolled.angle, is_pair=rolled.is_pair),
                    "start_mm": rolled.start * 1e3,
                    "end_mm": rolled.end * 1e3,
                    "wraps": rolled.wraps,
                    "run_out_tip_mm": flag.run_out_tip * 1e3,
                    "run_out_butt_mm": flag.run_out_butt * 1e3,
                    "mass_g": rolled.mass * 1e3,
                    "cost": rolled.cost,
                }
                for rolled, flag in zip(
                    self.report.flags, self.design.flags, strict=True
                )
            ]
        )
        table.index = pd.RangeIndex(1, len(table) + 1, name="order")
        return table

    @property
    def metrics(self) -> pd.DataFrame:
        """Metrics by column: value, band and state, in the unit of the column."""
        rows = beside_rows(self.report, self.spec)
        return pd.DataFrame(
            [
                {
                    "label": row.label,
                    "unit": row.unit,
                    "value": row.value,
                    "low": row.low,
                    "high": row.high,
                    "state": row.state,
                }
                for row in rows
            ],
            index=pd.Index([row.what for row in rows], name="metric"),
        )

    @property
    def profile(self) -> pd.DataFrame:
        """Course along the shaft, a row a station; units in the names."""
        profile = self.report.profile
        return pd.DataFrame(
            {
                "station_mm": profile.station * 1e3,
                "outer_diameter_mm": profile.outer_diameter * 1e3,
                "ei_n_m2": profile.EI,
                "gj_n_m2": profile.GJ,
                "margin": profile.margin,
            }
        )

    @property
    def misses(self) -> list[str]:
        """Bands and shop rules of its spec that it misses, the worst first."""
        if self.spec is None:
            return []
        return rule_breaks(self.design, self.library, self.spec)

    @cached_property
    def explanation(self) -> Explanation:
        """What each flag contributes, and what small changes do."""
        return explain(self.design, self.library, spec=self.spec)

    def changed(
        self,
        *settings: str,
        add: Sequence[str] = (),
        remove: Sequence[str] = (),
        move: Sequence[str] = (),
    ) -> ShownShaft:
        """Change the design.

        Parameters
        ----------
        *settings : str
            Such as "torque pair: wraps += 0.5"; see `optimiser.edits`. [-]
        add, remove, move : sequence of str
            Flags that come, go and move, after the settings and in this order. [-]

        Returns
        -------
        shaft : ShownShaft
            Another one; this one stays as it is. [SI]

        Raises
        ------
        InputError
            With everything that cannot be done.
        """
        kinds = (("set", settings), ("add", add), ("remove", remove), ("move", move))
        edits = [Edit(kind, text) for kind, texts in kinds for text in texts]
        design = apply_edits(self.design, edits, self.library, self.design.name)
        return ShownShaft(
            evaluate(design, self.library),
            self.library,
            self.spec,
            self.library_folder,
        )

    def save(self, path: Path) -> Path:
        """Write the design to a file that is not there yet.

        Parameters
        ----------
        path : Path
            File to write. [-]

        Returns
        -------
        path : Path
            The same path. [-]

        Raises
        ------
        InputError
            If it is there.
        """
        try:
            return save_design(self.design, path, self.library_folder)
        except FileExistsError as error:
            fault = Fault("", None, None, "is there already. Give another name.")
            raise InputError(str(path), [fault]) from error

    def __repr__(self) -> str:
        return design_to_text(self.design)

    def _repr_html_(self) -> str:
        """Table and flag map, for a notebook."""
        cells = []
        for row in beside_rows(self.report, self.spec):
            value = number(row.value, row.decimals)
            if value == NONE or (self.spec is not None and not row.band):
                continue
            asked = f'<td style="color:#66717D">{escape(row.band)}</td>'
            cells.append(
                f'<tr><td style="text-align:left">{escape(row.label)}</td>'
                f'<td style="color:{_STATE_COLOURS[row.state]}">{value} '
                f"{escape(row.unit)}</td>{asked if self.spec is not None else ''}</tr>"
            )
        return (
            f"<div><b>{escape(titled(self.design.name, self.report.design_id))}</b>"
            f"<div>{map_svg(self.report, self.mandrel)}</div>"
            f"<table>{''.join(cells)}</table>"
            f'<div style="color:#66717D;font-size:smaller">{escape(CAUTIONS[0])}</div>'
            "</div>"
        )


def show(design: Design, library: Library, *, spec: Spec | None = None) -> ShownShaft:
    """Evaluate a design so that it shows itself.

    Parameters
    ----------
    design : Design
        Any design. [SI]
    library : Library
        Its materials and mandrel. [-]
    spec : Spec or None
        Its bands stand beside the metrics. [SI]

    Returns
    -------
    shaft : ShownShaft
        With its tables. [SI]
    """
    return ShownShaft(evaluate(design, library), library, spec)


def open_shaft(
    source: Path,
    design: str | None = None,
    *,
    library: Path | None = None,
    spec: Path | None = None,
) -> ShownShaft:
    """Open a design file, or a design of a run.

    Parameters
    ----------
    source : Path
        Design file or run folder. [-]
    design : str or None
        Id of a design of the run, or enough of its beginning. [-]
    library : Path or None
        Library folder instead of the file's own. [-]
    spec : Path or None
        Spec for a design file. [-]

    Returns
    -------
    shaft : ShownShaft
        Evaluated. [SI]

    Raises
    ------
    InputError
        With every fault.
    """
    chosen = choose(source, design=design, library=library, spec=spec)
    report = evaluate(chosen.design, chosen.library)
    return ShownShaft(report, chosen.library, chosen.spec, chosen.library_folder)


def front_of(folder: Path) -> pd.DataFrame:
    """Front of a run as a table.

    Parameters
    ----------
    folder : Path
        Run folder. [-]

    Returns
    -------
    front : DataFrame
        A row a design by its id; units in the names of the columns. [-]
    """
    return open_run(folder).front.set_index("id", drop=False)
