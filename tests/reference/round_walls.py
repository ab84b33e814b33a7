"""Walls rolled on a straight bore, and the same walls sector by sector."""

import numpy as np

from model.direction import Rolled, directions, harmonics_around
from model.laminate import (
    N_STIFFNESS,
    N_SUMS,
    add_ring,
    close_section,
    ring_stiffness,
)

SECTORS = 7200
ALPHA = (np.arange(SECTORS) + 0.5) * 2.0 * np.pi / SECTORS


def isotropic(E, nu=0.0):
    return ring_stiffness(E, E, E / 2.0 / (1.0 + nu), nu, 0.0)


def flag(wraps, clock=0.0, *, Q=None, E=70e9, ply=0.1e-3, pieces=1, **more):
    """A flag over the whole length; more is run_out_tip, run_out_butt, widths."""
    Q = isotropic(E) if Q is None else Q
    return {
        "wraps": wraps,
        "clock": clock,
        "Q": Q,
        "E": E,
        "ply": ply,
        "pieces": pieces,
        **more,
    }


def turns_of(piece, x, radius):
    if piece["wraps"] == 0.0:
        width = np.interp(x, x[[0, -1]], piece["widths"])
        turn = piece["ply"] * piece["pieces"]
        return (np.sqrt(radius**2 + turn * width / np.pi) - radius) / turn
    share = np.ones(len(x))
    if piece.get("run_out_tip", 0.0) > 0.0:
        share = np.minimum(share, (x - x[0]) / piece["run_out_tip"])
    if piece.get("run_out_butt", 0.0) > 0.0:
        share = np.minimum(share, (x[-1] - x) / piece["run_out_butt"])
    return piece["wraps"] * share


def rolled(flags, *, bore=5e-3, grind=0.0, tip_depth=0.0, x=None):
    """The wall with smeared turns, as the evaluation leaves it."""
    x = np.linspace(0.0, 1.0, 5) if x is None else x
    n_x, n = len(x), len(flags)
    sheets = np.zeros((n, N_STIFFNESS + 10))
    build = np.full(n_x, bore)
    r_in, r_out = np.zeros((2, n, n_x))
    for k, piece in enumerate(flags):
        sheets[k, :N_STIFFNESS] = piece["Q"]
        sheets[k, N_STIFFNESS : N_STIFFNESS + 2] = piece["ply"], piece["pieces"]
        turns = turns_of(piece, x, build)
        r_in[k] = build
        build = build + turns * piece["ply"] * piece["pieces"]
        r_out[k] = build
    finished = build - grind - tip_depth
    r_in, r_out = np.minimum(r_in, finished), np.minimum(r_out, finished)
    sums = np.zeros((N_SUMS, n_x))
    for k in range(n):
        add_ring(sheets[k], r_in[k], r_out[k], 0, n_x - 1, sums, True)
    EI, GJ, hoop, *rest = np.zeros((6, n_x))
    close_section(sums, n_x, True, EI, GJ, hoop, *rest)
    widths = np.array([piece.get("widths", (np.nan, np.nan)) for piece in flags])
    return Rolled(
        sheets=sheets,
        sheet=np.arange(n),
        wraps=np.array([piece["wraps"] for piece in flags], dtype=float),
        run_out_tip=np.array([piece.get("run_out_tip", 0.0) for piece in flags]),
        run_out_butt=np.array([piece.get("run_out_butt", 0.0) for piece in flags]),
        width_tip=widths[:, 0].copy(),
        width_butt=widths[:, 1].copy(),
        clock=np.array([piece["clock"] for piece in flags], dtype=float),
        first=np.zeros(n, dtype=np.int64),
        last=np.full(n, n_x - 1, dtype=np.int64),
        r_in=r_in,
        r_out=r_out,
        x=x,
        hoop=hoop,
        EI=EI,
        mandrel=np.full(n_x, bore),
        build=build,
        finished=finished,
        grind=grind,
        tip=0,
        butt=n_x - 1,
    )


def shown(wall, clock=None):
    around = harmonics_around(wall, wall.clock if clock is None else clock)
    return directions(around, wall.EI, wall.mandrel, wall.finished)


def by_sectors(flags, *, bore=5e-3, grind=0.0, tip_depth=0.0):
    """Mean and second harmonic of EI of plies that are really stacked up.

    Plies of isotropic stiffness E ride over what lies beneath them; the grind takes as
    much everywhere; the tip is made round as far as its grinding reaches, by a given
    depth in the mean. Strains are plane in the section, so the neutral axis is free.
    """
    radius = np.full(SECTORS, bore)
    edges = [radius]
    for piece in flags:
        whole = np.floor(piece["wraps"] + 1e-9)
        part = piece["wraps"] - whole
        for j in range(piece["pieces"]):
            past = (ALPHA - piece["clock"] - np.pi * j) % (2.0 * np.pi)
            covers = past < 2.0 * np.pi * part
            radius = radius + (whole + covers) * piece["ply"]
        edges.append(radius)
    surface = radius - grind
    if tip_depth > 0.0:
        low, high = surface.min() - tip_depth, surface.max()
        for _ in range(60):
            level = 0.5 * (low + high)
            if np.mean(np.maximum(surface - level, 0.0)) > tip_depth:
                low = level
            else:
                high = level
        surface = np.minimum(surface, low)
    edges = [np.minimum(edge, surface) for edge in edges]
    A, S, tensor = 0.0, np.zeros(2), np.zeros((2, 2))
    across = np.array([np.cos(ALPHA), np.sin(ALPHA)])
    for piece, a, b in zip(flags, edges[:-1], edges[1:], strict=True):
        E = piece["E"] * 2.0 * np.pi / SECTORS
        A += E * np.sum(b**2 - a**2) / 2.0
        S += E * across @ (b**3 - a**3) / 3.0
        tensor += E * (across * (b**4 - a**4)) @ across.T / 4.0
    tensor -= np.outer(S, S) / A
    mean = np.trace(tensor) / 2.0
    second = (tensor[0, 0] - tensor[1, 1]) / 2.0 + 1j * tensor[0, 1]
    return mean, second
