"""The summary of measured searches, in markdown."""

import csv

import numpy as np
import pandas as pd

from model import read_library
from tests.benchmarks import kept_front
from tests.benchmarks.kept_front import hypervolume
from tests.benchmarks.rivals import SEARCHES

#: What a search that only betters the best known front is called in the table.
AT_LENGTH = "at length"


def latest(table):
    """Rows of the last run of each search, scenario and seed."""
    rows = pd.read_csv(table, dtype={"code": str})
    rows["at"] = np.arange(len(rows))
    keys = ["scenario", "search", "seed", "kind", "mark"]
    rows = rows.drop_duplicates(keys, keep="last")
    # marks of older sources go with the run they belong to
    newest = rows.sort_values("at").groupby(keys[:3])["code"].transform("last")
    return rows[rows["code"] == newest]


def differences(table, fresh, search):
    """Where a search measured afresh is not what a table says of it, in words.

    Compared are marks of evaluations, for what does not depend on the hour; no words
    mean that all are equal to the last digit. Beside them the codes of the table's runs
    that were compared.
    """
    marks = ["scenario", "seed", "mark"]
    found = [
        "evaluations",
        "hypervolume",
        "designs",
        "feasible",
        "first_feasible_evaluations",
    ]
    of_both = []
    for rows in (latest(table), latest(fresh)):
        rows = rows[(rows["search"] == search) & (rows["kind"] == "evaluations")]
        of_both.append(rows.set_index(marks))
    old, new = of_both
    words = [] if len(new) else ["it met no mark"]
    codes = set()
    for place, row in new.iterrows():
        where = "{} seed {} at {:,}".format(*place)
        if place not in old.index:
            words.append(f"{where} is not in the table")
            continue
        codes.add(old.loc[place, "code"])
        for name in found:
            was, value = old.loc[place, name], row[name]
            if value != was and not (np.isnan(value) and np.isnan(was)):
                words.append(f"{where}, {name}: {was:.9g} was, {value:.9g} is")
    return words, codes


def rename_code(table, scenarios, searches, old, code):
    """Have runs of some searches with old sources count as those of a code."""
    with table.open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    renamed = [
        row
        for row in rows
        if row["scenario"] in scenarios
        and row["search"] in searches
        and row["code"] in old
    ]
    for row in renamed:
        row["code"] = code
    beside = table.with_suffix(".new")
    with beside.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, rows[0].keys(), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    beside.replace(table)
    return len(renamed)


def summary(table, kept=kept_front.FOLDER):
    """The summary of a table of runs, as markdown."""
    every = latest(table)
    rows = every[every["search"] != AT_LENGTH]
    long = every[every["search"] == AT_LENGTH]
    library = read_library()
    lines = [f"Measured on: {'; and on '.join(sorted(every['machine'].unique()))}."]
    most = int(every["jobs"].max())
    if most > 1:
        lines.append(f"Up to {most} runs at a time shared its cores.")
    for scenario in sorted(every["scenario"].unique()):
        of_scenario = rows[rows["scenario"] == scenario]
        encoding = kept_front.load(scenario, library)
        front = kept_front.read(scenario, encoding, kept)
        best = hypervolume(front.F, kept_front.corner(encoding))
        lines += ["", f"### {scenario}", ""]
        lines.append(
            f"Best known front: {front.n} designs, hypervolume {best:.6g} from the "
            "spec's bounds. Shares of it, medians over seeds; each seed below."
        )
        lines += _at_length(long[long["scenario"] == scenario], best)
        for kind, word in (("evaluations", "evaluations"), ("seconds", "s")):
            lines += _shares(of_scenario, kind, word, best)
        lines += _firsts(of_scenario)
    return "\n".join(lines)


def _at_length(rows, best):
    """What searches for the best known front came to by themselves."""
    rows = rows[rows["kind"] == "end"].sort_values("seed")
    if rows.empty or not best > 0.0:
        return []
    each = [
        f"seed {row.seed} {row.hypervolume / best:.4f} after {row.evaluations:,.0f}"
        for row in rows.itertuples()
    ]
    return ["", f"Searched at length: {'; '.join(each)} evaluations."]


def _searches(rows):
    return [name for name in SEARCHES if (rows["search"] == name).any()]


def _shares(rows, kind, word, best):
    rows = rows[rows["kind"] == kind]
    marks = sorted(rows["mark"].unique())
    if not marks:
        return []
    heads = [f"{_short(m)} {word}" for m in marks]
    lines = ["", "| search | " + " | ".join(heads) + " |"]
    lines.append("|---|" + "---:|" * len(marks))
    for search in _searches(rows):
        of_search = rows[rows["search"] == search]
        shares = of_search.pivot_table(
            index="seed", columns="mark", values="hypervolume"
        ).reindex(columns=marks) / (best if best > 0.0 else np.nan)
        lines.append(_line(f"**{search}**", shares.median(), "{:.4f}"))
        for seed, values in shares.iterrows():
            lines.append(_line(f"{search}, seed {seed}", values, "{:.4f}"))
    return lines


def _firsts(rows):
    rows = rows[rows["kind"] == "end"]
    if rows.empty:
        return []
    lines = [
        "",
        "| search | first feasible design: evaluations | seconds |",
        "|---|---|---|",
    ]
    for search in _searches(rows):
        of_search = rows[rows["search"] == search].sort_values("seed")
        cells = []
        for name, form in (("evaluations", "{:,.0f}"), ("seconds", "{:.2f}")):
            values = of_search[f"first_feasible_{name}"].fillna(np.inf)
            each = ", ".join(_or_never(value, form) for value in values)
            middle = _or_never(float(np.median(values)), form)
            cells.append(f"**{middle}** ({each})")
        lines.append(f"| {search} | " + " | ".join(cells) + " |")
    return lines


def _or_never(value, form):
    return form.format(value) if np.isfinite(value) else "never"


def _line(name, values, form):
    cells = ["" if np.isnan(v) else form.format(v) for v in values]
    return f"| {name} | " + " | ".join(cells) + " |"


def _short(number):
    for size, letter in ((1_000_000, "M"), (1_000, "k")):
        if number >= size:
            return f"{number / size:g}{letter}"
    return f"{number:g}"
