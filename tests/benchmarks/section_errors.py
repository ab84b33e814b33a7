"""Errors of the fast section against three-dimensional elasticity on random walls.

Run as ``python tests/benchmarks/section_errors.py``. A wall has a bias pair inside or
outside of one or two straight flags, now and then a hoop flag, of any prepreg of the
packaged library. The fast section takes one ring a flag; the exact one takes the pair
ply by ply as it is rolled, +angle inside, -angle outside, turn by turn.

A bias ply at 50 to 70 degrees may bear hardly any strain along its fibres, the wall's
contraction making up for its length; an error over that strain then says nothing, so
it stands also over the axial strain at the same radius.
"""

import argparse
import math
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from model.elasticity import exact_section
from model.laminate import (
    N_SUMS,
    add_ring,
    close_section,
    ring_stiffness,
    tube_section,
)
from model.library import read_library
from model.materials import Ply
from model.solid import alternating_plies, in_ply_axes, rotated_solid, solid_stiffness

BANDS = ((20, 30), (30, 40), (40, 50), (50, 60), (60, 70))


@dataclass(frozen=True)
class Flag:
    material: str
    ply: Ply
    degrees: float
    is_pair: bool
    turns: float

    @property
    def angle(self):
        return math.radians(self.degrees)

    @property
    def thickness(self):
        return self.turns * self.ply.thickness * (2 if self.is_pair else 1)


@dataclass(frozen=True)
class Wall:
    bore: float  #: radius [m]
    flags: tuple[Flag, ...]

    @property
    def edges(self):
        steps = np.cumsum([flag.thickness for flag in self.flags])
        return self.bore + np.concatenate([[0.0], steps])

    def __str__(self):
        lines = [f"bore {2e3 * self.bore:.2f} mm"]
        for flag in self.flags:
            sign = "±" if flag.is_pair else ""
            lines.append(
                f"  {flag.material} {sign}{flag.degrees:.1f}°, {flag.turns:.2f} turns, "
                f"{1e3 * flag.thickness:.3f} mm, E1 {flag.ply.E1 / 1e9:.0f} E2 "
                f"{flag.ply.E2 / 1e9:.1f} G12 {flag.ply.G12 / 1e9:.1f} GPa"
            )
        return "\n".join(lines)


def random_wall(rng, library):
    by_class = {}
    for name, prepreg in library.prepregs.items():
        by_class.setdefault(prepreg.fibre.fibre_class, []).append(name)
    classes = list(by_class)

    def flag(degrees, is_pair, thickness):
        name = rng.choice(by_class[rng.choice(classes)])
        ply = library.prepregs[name].cured()
        turns = thickness / ply.thickness / (2 if is_pair else 1)
        return Flag(str(name), ply, degrees, is_pair, max(turns, 0.5))

    wall = rng.uniform(0.6e-3, 2.4e-3)
    bias = flag(rng.uniform(20, 70), True, wall * rng.uniform(0.25, 0.6))
    straight = [
        flag(0.0, False, wall * rng.uniform(0.15, 0.5))
        for _ in range(rng.integers(1, 3))
    ]
    flags = [bias, *straight] if rng.random() < 0.5 else [*straight, bias]
    if rng.random() < 0.35:
        hoop = flag(90.0, False, rng.uniform(0.02e-3, 0.1e-3))
        flags.insert(rng.integers(0, len(flags) + 1), hoop)
    return Wall(rng.uniform(3.5e-3, 13e-3) / 2, tuple(flags))


def exact_wall(wall, *, nu23=None, smeared=False, degree=3):
    """Exact section of a wall, and for each ring its flag and fibre angle."""
    C, inner, outer, flag_of, angle_of = [], [], [], [], []
    edges = wall.edges
    for k, (flag, a, b) in enumerate(
        zip(wall.flags, edges[:-1], edges[1:], strict=True)
    ):
        ply = flag.ply
        solid = solid_stiffness(ply.E1, ply.E2, ply.G12, ply.nu12, nu23)
        if flag.is_pair and not smeared:
            low, high = alternating_plies([a], [b], ply.thickness)
            angles = [flag.angle * (-1) ** i for i in range(len(low))]
            C += [rotated_solid(solid, angle) for angle in angles]
        else:
            low, high = np.array([[a]]), np.array([[b]])
            angles = [flag.angle]
            C.append(rotated_solid(solid, flag.angle, is_pair=flag.is_pair))
        inner.append(low)
        outer.append(high)
        flag_of += [k] * len(low)
        angle_of += angles
    section = exact_section(
        C, np.concatenate(inner), np.concatenate(outer), degree=degree
    )
    return section, np.array(flag_of), np.array(angle_of)


def fast_rings(wall):
    Q = np.array(
        [
            ring_stiffness(
                flag.ply.E1,
                flag.ply.E2,
                flag.ply.G12,
                flag.ply.nu12,
                flag.angle,
                is_pair=flag.is_pair,
                thickness=flag.ply.thickness,
            )
            for flag in wall.flags
        ]
    )
    edges = wall.edges[:, None]
    return Q, edges[:-1], edges[1:]


def fast_hoop(Q, inner, outer):
    """Hoop strain under unit curvature of the fast section: at the axis, per radius."""
    sums = np.zeros((N_SUMS, 1))
    for q, a, b in zip(Q, inner, outer, strict=True):
        add_ring(q, a, b, 0, 0, sums, False)
    EI, GJ, hoop, at_axis, slope, shear = np.zeros((6, 1))
    close_section(sums, 1, False, EI, GJ, hoop, at_axis, slope, shear)
    return at_axis[0], slope[0]


class SectionErrors(NamedTuple):
    """Relative errors of the fast section, wall by wall; signed, fast over exact."""

    walls: tuple[Wall, ...]
    angle: np.ndarray  #: of the bias [deg]
    inside: np.ndarray  #: whether the bias lies inside
    EI: np.ndarray
    GJ: np.ndarray
    EA: np.ndarray
    kGA: np.ndarray
    straight: np.ndarray  #: fibre strain of straight plies for a bending moment
    bias: np.ndarray  #: of bias plies at the flag's outer radius, over the exact
    bias_of_axial: np.ndarray  #: the same over the axial strain there
    smeared_EI: np.ndarray  #: exact section, pair as one ring over ply by ply
    smeared_GJ: np.ndarray


def section_errors(n=1000, seed=1, *, nu23=None):
    """Errors of the fast section on random walls."""
    rng = np.random.default_rng(seed)
    library = read_library()
    walls = tuple(random_wall(rng, library) for _ in range(n))
    rows = []
    for wall in walls:
        exact, flag_of, angle_of = exact_wall(wall, nu23=nu23)
        smeared, _, _ = exact_wall(wall, smeared=True, nu23=nu23)
        Q, inner, outer = fast_rings(wall)
        fast = tube_section(Q, inner, outer)
        at_axis, slope = fast_hoop(Q, inner, outer)
        k = next(i for i, flag in enumerate(wall.flags) if flag.is_pair)
        bias = wall.flags[k]
        c2, s2 = math.cos(bias.angle) ** 2, math.sin(bias.angle) ** 2
        ring = np.flatnonzero(flag_of == k)[-1]
        there = in_ply_axes(exact.bending[ring, 0, 1], angle_of[ring])[0] / exact.EI[0]
        hoop = at_axis + slope * outer[k, 0]
        ours = (c2 * outer[k, 0] + s2 * hoop) / fast.EI[0]
        axial = outer[k, 0] / exact.EI[0]
        rows.append(
            (
                bias.degrees,
                k < max(i for i, f in enumerate(wall.flags) if f.degrees == 0),
                fast.EI[0] / exact.EI[0] - 1,
                fast.GJ[0] / exact.GJ[0] - 1,
                fast.EA[0] / exact.EA[0] - 1,
                fast.kGA[0] / exact.kGA[0] - 1,
                exact.EI[0] / fast.EI[0] - 1,
                ours / there - 1,
                (ours - there) / axial,
                smeared.EI[0] / exact.EI[0] - 1,
                smeared.GJ[0] / exact.GJ[0] - 1,
            )
        )
    columns = np.array(rows).T
    return SectionErrors(walls, columns[0], columns[1].astype(bool), *columns[2:])


def spread(errors):
    size = np.abs(errors) * 100
    return np.median(size), np.quantile(size, 0.99), size.max()


def print_table(result):
    shown = ("EI", "GJ", "straight", "bias", "bias_of_axial", "kGA", "EA")
    print("errors in %: median / 99 % / worst")
    print(
        f"{'bias':>8} {'place':<8} {'walls':>5} " + "".join(f"{s:^23}" for s in shown)
    )
    for inside in (True, False):
        for low, high in (*BANDS, (40, 65)):
            rows = (result.angle >= low) & (result.angle < high)
            rows &= result.inside == inside
            if not rows.any():
                continue
            cells = []
            for name in shown:
                m, q, w = spread(getattr(result, name)[rows])
                cells.append(f"{m:7.3f}{q:7.2f}{w:8.2f} ")
            place = "inside" if inside else "outside"
            print(f"{low:>4}-{high:<3} {place:<8} {rows.sum():>5} " + "".join(cells))


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--walls", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    result = section_errors(args.walls, args.seed)
    print_table(result)
    for name in ("EI", "GJ"):
        errors = getattr(result, name)
        worst = int(np.argmax(np.abs(errors)))
        print(f"\nworst {name}: {100 * errors[worst]:+.2f} %, {result.walls[worst]}")
    for name in ("smeared_EI", "smeared_GJ"):
        m, q, w = spread(getattr(result, name))
        print(
            f"\n{name}, pair as one ring: median {m:.4f}, 99 % {q:.3f}, worst {w:.3f} %"
        )
    for nu23 in (0.3, 0.45):
        other = section_errors(args.walls, args.seed, nu23=nu23)
        shift = [
            np.abs((1 + getattr(result, s)) / (1 + getattr(other, s)) - 1).max() * 100
            for s in ("EI", "GJ", "EA", "kGA")
        ]
        print(
            f"exact with nu23 = {nu23}: shifts at most EI {shift[0]:.3f}, "
            f"GJ {shift[1]:.3f}, EA {shift[2]:.3f}, kGA {shift[3]:.3f} %"
        )


if __name__ == "__main__":
    main()
