"""Rows of the accuracy table: beams, rings and the bench, by printed numbers."""

import math
from collections.abc import Iterator
from typing import Final

import numpy as np

from model.accuracy import (
    AccuracyWord,
    Case,
    Checks,
    printed,
    within,
)
from model.beam import first_frequency, twist
from model.design import Bench
from model.elastica import cantilever_drop
from model.library import read_library
from model.shell import MOMENT_UNDER, flattening_moment, ring_shortening
from model.units import read_quantity

BEAMS = Checks("Beams and rings")
#: Enough for the last printed digit: the error falls with the square of the cell.
_STATIONS: Final = 4001

TRADE = Checks("Bench tests, units, materials")

# ----------------------------------------------------------------------------- beams


@BEAMS.line(
    "Cantilever with a tip mass as heavy as itself",
    "Math. Probl. Eng. 2017, 1568019, table 1",
    kind=AccuracyWord.PUBLISHED,
    mark=AccuracyWord.READ,
)
def _published_tip_mass() -> Iterator[Case]:
    yield printed(_with_tip_mass(1.0), "1.557298")


@BEAMS.line(
    "Cantilever with tip masses 0 to 10 times its own",
    "1 + cos L cosh L + (M/m) L (cos L sinh L - sin L cosh L) = 0",
    kind=AccuracyWord.PUBLISHED,
)
def _tip_masses() -> Iterator[Case]:
    for ratio, text in (
        (0.0, "3.51602"),
        (0.5, "2.01630"),
        (2.0, "1.15820"),
        (5.0, "0.75694"),
        (10.0, "0.54138"),
    ):
        yield printed(_with_tip_mass(ratio), text)


def _with_tip_mass(ratio: float) -> float:
    x = np.linspace(0.0, 1.0, _STATIONS)
    one = np.ones_like(x)
    return 2.0 * math.pi * first_frequency(x, one, one, tip_mass=ratio)


@BEAMS.line(
    "Uniform shaft with a driver's mass, 229.47 cpm",
    "equation of the tip mass; EI 40 N m^2, 1 m, 50 g, tip 196 g",
    kind=AccuracyWord.PUBLISHED,
)
def _uniform_shaft() -> Iterator[Case]:
    x = np.linspace(0.0, 1.0, 401)
    f = first_frequency(x, 0.0 * x + 40.0, 0.0 * x + 0.050, tip_mass=0.196)
    yield printed(60.0 * f, "229.47")


@BEAMS.line(
    "Cantilever tapered by 0.2, 0.4, 0.6",
    "Int. J. Mech. Mater. Eng. 2015, paper 40, table 1",
    kind=AccuracyWord.PUBLISHED,
    mark=AccuracyWord.READ,
)
def _published_taper() -> Iterator[Case]:
    for c, text in ((0.2, "3.85512"), (0.4, "4.31878"), (0.6, "5.00903")):
        yield printed(_tapered(c), text)


@BEAMS.line(
    "Cantilever tapered by 0.5",
    "equal linear tapers of height and width, worked out anew",
    kind=AccuracyWord.PUBLISHED,
)
def _taper() -> Iterator[Case]:
    yield printed(_tapered(0.5), "4.625150")


def _tapered(c: float) -> float:
    """First frequency of a beam that narrows linearly to its free end."""
    x = np.linspace(0.0, 1.0, _STATIONS)
    size = 1.0 - c * (1.0 - x)
    return 2.0 * math.pi * first_frequency(x, size**4, size**2)


@BEAMS.line(
    "Large deflection of a cantilever, P L^2/EI 1 to 10",
    "Bisshopp and Drucker, Q. Appl. Math. 3, 1945; Mattiasson, Int. J. Numer. Meth. "
    "Eng. 17, 1981",
    kind=AccuracyWord.PUBLISHED,
    mark=AccuracyWord.MEMORY,
)
def _large_deflection() -> Iterator[Case]:
    x = np.linspace(0.0, 1.0, 41)
    for load, text in (
        (1.0, "0.30172"),
        (2.0, "0.49346"),
        (5.0, "0.71379"),
        (10.0, "0.81061"),
    ):
        bent = cantilever_drop(x, np.ones_like(x), clamp=1.0, load_at=0.0, load=load)
        yield printed(bent.drop, text)


@BEAMS.line(
    "Flattening of a bent tube, 0.987307 E r t^2/sqrt(1 - nu^2)",
    "Brazier 1927; Calladine, Theory of Shell Structures",
    kind=AccuracyWord.PUBLISHED,
    mark=AccuracyWord.MEMORY,
)
def _flattening() -> Iterator[Case]:
    E, r, t = 70e9, 7e-3, 0.7e-3
    for nu in (0.0, 0.3):
        EI = math.pi * r**3 * t * E
        D22 = E * t**3 / 12.0 / (1.0 - nu**2)
        shape = E * r * t**2 / math.sqrt(1.0 - nu**2)
        yield printed(flattening_moment(EI, D22, r) / shape, "0.987307")


@BEAMS.line(
    "Flattening of a layered tube, 3.420133 r sqrt(Ax D22)",
    "Brazier 1927 with the stiffness of a laminate",
    kind=AccuracyWord.PUBLISHED,
)
def _layered_flattening() -> Iterator[Case]:
    Ax, D22, r = 5.5e7, 4.0, 7e-3
    moment = flattening_moment(math.pi * r**3 * Ax, D22, r)
    yield printed(moment / r / math.sqrt(Ax * D22), "3.420133")


@BEAMS.line(
    "Ring under a load on its diameter",
    "Roark's Formulas for Stress and Strain, ring tables",
    kind=AccuracyWord.PUBLISHED,
    mark=AccuracyWord.MEMORY,
)
def _ring() -> Iterator[Case]:
    # load, radius, stiffness and width of one
    yield printed(ring_shortening(1.0, 1.0, 1.0, 1.0), "0.148778")
    yield printed(MOMENT_UNDER, "0.318310")


# ----------------------------------------------------------------------------- trade


@TRADE.line(
    "GJ of 4.0 deg over 1.000 m and over 0.785 m",
    "theta = T integral dx/GJ",
    kind=AccuracyWord.PUBLISHED,
)
def _torque() -> Iterator[Case]:
    couple = Bench().torque_moment
    for length, text in ((1.000, "19.42"), (0.785, "15.25")):
        x = np.linspace(0.0, length, 11)
        angle = twist(x, np.ones_like(x), 0, len(x) - 1, couple)
        yield printed(angle / math.radians(4.0), text)


@TRADE.line(
    "Couple of the torque test, 1 lbf ft",
    "US 5,971,865, background",
    kind=AccuracyWord.PUBLISHED,
    mark=AccuracyWord.READ,
)
def _couple() -> Iterator[Case]:
    yield printed(Bench().torque_moment, "1.35582")
    yield printed(read_quantity("1 lbf ft", "moment"), "1.35582")


@TRADE.line("Couple of 13.9 kgf cm", "9.80665 N per kgf", kind=AccuracyWord.PUBLISHED)
def _other_couple() -> Iterator[Case]:
    yield printed(read_quantity("13.9 kgf", "force") * 0.01, "1.36312")


@TRADE.line(
    "Strength points: moment P S/4",
    "loads: US 9,387,378 B2, 2016, abstract; spans from memory",
    kind=AccuracyWord.PUBLISHED,
    mark=AccuracyWord.READ,
)
def _strength_points() -> Iterator[Case]:
    for load, span in (("800 N", "150 mm"), *3 * (("400 N", "300 mm"),)):
        moment = read_quantity(load, "force") * read_quantity(span, "length") / 4.0
        yield within(Bench().strength_moment, moment, 1e-12)


@TRADE.line(
    "Strength points: T, A, B, C",
    "the same",
    kind=AccuracyWord.PUBLISHED,
    mark=AccuracyWord.READ,
)
def _strength_stations() -> Iterator[Case]:
    bench = Bench()
    ours = (bench.strength_from, bench.strength_a, bench.strength_b, bench.strength_to)
    for station, text in zip(ours, ("0.090", "0.175", "0.525", "0.175"), strict=True):
        yield within(station, float(text), 1e-12)


@TRADE.line(
    "Flex tests: supports and loads",
    "forward and reverse flex in patents: distances and loads",
    kind=AccuracyWord.PUBLISHED,
    mark=AccuracyWord.MEMORY,
)
def _flex_tests() -> Iterator[Case]:
    bench = Bench()
    for ours, text, dimension in (
        (bench.butt_hold, "75 mm", "length"),
        (bench.butt_support, "215 mm", "length"),
        (bench.butt_load_at, "1039 mm", "length"),
        (bench.butt_load, "2.7 kgf", "force"),
        (bench.tip_hold, "12 mm", "length"),
        (bench.tip_support, "152 mm", "length"),
        (bench.tip_load_at, "932 mm", "length"),
        (bench.tip_load, "1.3 kgf", "force"),
    ):
        yield within(ours, read_quantity(text, dimension), 1e-9)


@TRADE.line("1 Msi in GPa", "definition: pound and inch", kind=AccuracyWord.PUBLISHED)
def _msi() -> Iterator[Case]:
    yield printed(read_quantity("1 Msi", "modulus") / 1e9, "6.894757")


@TRADE.line(
    "Standard fibre of the library: 33 Msi, 2.1 %",
    "common practice",
    kind=AccuracyWord.PRACTICE,
    mark=AccuracyWord.UNSOURCED,
)
def _standard_fibre() -> Iterator[Case]:
    fibre = read_library().prepregs["standard-125"].fibre
    yield within(fibre.E1, read_quantity("33 Msi", "modulus"), 0.03)
    yield within(fibre.strength / fibre.E1, 0.021, 0.05)


@TRADE.line(
    "Fibres of the library fail at strength over modulus",
    "common practice; strains to a tenth of a per cent",
    kind=AccuracyWord.PRACTICE,
    mark=AccuracyWord.UNSOURCED,
)
def _fibre_strains() -> Iterator[Case]:
    for fibre in read_library().fibres.values():
        yield Case(fibre.strength / fibre.E1, fibre.strain, 5e-4)
