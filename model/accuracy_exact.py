"""Rows of the accuracy table that rest on closed forms and on general libraries."""

import importlib
import math
from collections.abc import Iterator
from dataclasses import replace
from types import ModuleType
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from model.accuracy import (
    AccuracyWord,
    Case,
    Checks,
    MissingLibraryError,
    within,
)
from model.accuracy_plies import KAW_PLY, laminate_from_rings
from model.beam import (
    cantilever_deflection,
    first_frequency,
    overhang_deflection,
    three_point_deflection,
    twist,
)
from model.design import Design, Flag, Shaft
from model.elasticity import exact_section
from model.failure import ply_strains
from model.laminate import ring_stiffness, tube_section
from model.library import Library, Mandrel, read_library
from model.micromechanics import areal_mass, halpin_tsai, mixture, resin_after_bleed
from model.report import Report
from model.shaft import evaluate
from model.solid import solid_stiffness

Array = NDArray[np.float64]

CLOSED_FORMS = Checks("Closed forms")
LIBRARIES = Checks("General libraries")

# ------------------------------------------------------------------ tubes and plies

#: Young's modulus and Poisson's ratio of an isotropic tube, its radii. [Pa, -, m]
_METAL: Final = (70e9, 0.3)
_TUBES: Final = ((2.5e-3, 4.25e-3), (6.5e-3, 7.5e-3))


def _isotropic(nu: float, inner: float, outer: float) -> tuple[Array, float, float]:
    E = _METAL[0]
    radii = np.linspace(inner, outer, 5)[:, None]
    rings = [ring_stiffness(E, E, E / 2.0 / (1.0 + nu), nu, 0.0)] * 4
    section = tube_section(rings, radii[:-1], radii[1:])
    stiffness = np.array([section.EI[0], section.GJ[0], section.EA[0], section.kGA[0]])
    second = math.pi / 4.0 * (outer**4 - inner**4)
    return stiffness, second, math.pi * (outer**2 - inner**2)


@CLOSED_FORMS.line(
    "GJ, EA, kGA of an isotropic tube",
    "pi/2 (b^4 - a^4) G, pi (b^2 - a^2) E, half of G A",
    kind=AccuracyWord.EXACT,
)
def _isotropic_tube() -> Iterator[Case]:
    E, nu = _METAL
    G = E / 2.0 / (1.0 + nu)
    for inner, outer in _TUBES:
        (_, GJ, EA, kGA), second, area = _isotropic(nu, inner, outer)
        yield within(GJ, 2.0 * second * G, 1e-12)
        yield within(EA, area * E, 1e-12)
        yield within(kGA, G * area / 2.0, 1e-12)


@CLOSED_FORMS.line(
    "EI of an isotropic tube", "pi/4 (b^4 - a^4) E", kind=AccuracyWord.EXACT
)
def _isotropic_bending() -> Iterator[Case]:
    E, nu = _METAL
    for inner, outer in _TUBES:
        (EI, *_), second, _ = _isotropic(nu, inner, outer)
        yield within(EI, second * E, 1e-9)


@CLOSED_FORMS.line(
    "Exact section of an isotropic tube, EI, GJ, EA",
    "the same forms",
    kind=AccuracyWord.EXACT,
)
def _isotropic_exact_section() -> Iterator[Case]:
    E, nu = _METAL
    G = E / 2.0 / (1.0 + nu)
    for inner, outer in _TUBES:
        radii = np.linspace(inner, outer, 5)[:, None]
        C = np.array([solid_stiffness(E, E, G, nu)] * 4)
        section = exact_section(C, radii[:-1], radii[1:])
        second = math.pi / 4.0 * (outer**4 - inner**4)
        yield within(section.EI[0], second * E, 1e-9)
        yield within(section.GJ[0], 2.0 * second * G, 1e-9)
        yield within(section.EA[0], math.pi * (outer**2 - inner**2) * E, 1e-9)


@CLOSED_FORMS.line(
    "Strain of a ply after a turn of axes",
    "invariants of plane strain",
    kind=AccuracyWord.EXACT,
)
def _invariants() -> Iterator[Case]:
    x, y, g = 3e-3, -1.2e-3, 0.7e-3
    for degrees in (-60.0, -30.0, 17.0, 45.0, 90.0):
        c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
        along, across, sheared = ply_strains(c * c, s * s, c * s, x, y, g)
        yield within(along + across, x + y, 1e-12)
        yield within(along * across - sheared**2 / 4.0, x * y - g**2 / 4.0, 1e-12)


@CLOSED_FORMS.line(
    "Halpin-Tsai with endless reinforcement",
    "the rule of mixtures",
    kind=AccuracyWord.EXACT,
)
def _halpin_tsai_limit() -> Iterator[Case]:
    yield within(halpin_tsai(85.0, 3.4, 0.7, 1e10), mixture(85.0, 3.4, 0.7), 1e-7)


@CLOSED_FORMS.line(
    "Resin content after bleed",
    "23 g of resin in 98 g, of 25 in 100",
    kind=AccuracyWord.EXACT,
)
def _bleed() -> Iterator[Case]:
    after = resin_after_bleed(0.25, 0.02)
    yield within(after, 23.0 / 98.0, 1e-14)
    yield within(areal_mass(0.075, after), 0.098, 1e-14)


# ----------------------------------------------------------------------------- beams


@CLOSED_FORMS.line(
    "Three-point bending", "P S^3/(48 EI) + P S/(4 kGA)", kind=AccuracyWord.EXACT
)
def _three_point() -> Iterator[Case]:
    x = np.linspace(0.0, 0.6, 61)
    EI, kGA, load = 40.0, 6e4, 400.0
    for span in (0.150, 0.300):
        ours = three_point_deflection(
            x, 0.0 * x + EI, 0.0 * x + kGA, centre=0.3, span=span, load=load
        )
        exact = load * span**3 / 48.0 / EI + load * span / 4.0 / kGA
        yield within(ours, exact, 1e-12)


@CLOSED_FORMS.line(
    "Overhang, flex tests", "P a^2 (a + b)/(3 EI)", kind=AccuracyWord.EXACT
)
def _overhang() -> Iterator[Case]:
    x = np.linspace(0.0, 1.1, 111)
    for load, a, b in ((26.5, 0.82, 0.14), (12.75, 0.78, 0.14)):
        far = overhang_deflection(
            x, 0.0 * x + 45.0, len(x), 0.1, 0.1 + a, 0.1 + a + b, load
        )
        near = overhang_deflection(
            x, 0.0 * x + 45.0, len(x), 1.0, 1.0 - a, 1.0 - a - b, load
        )
        exact = load * a**2 * (a + b) / (3.0 * 45.0)
        yield within(far, exact, 1e-9)
        yield within(near, exact, 1e-9)


@CLOSED_FORMS.line(
    "Cantilever under a tip load", "P L^3/(3 EI)", kind=AccuracyWord.EXACT
)
def _cantilever() -> Iterator[Case]:
    x = np.linspace(0.0, 0.94, 40)
    ours = cantilever_deflection(x, 0.0 * x + 40.0, 0, len(x) - 1, 9.80665)
    yield within(ours, 9.80665 * 0.94**3 / 3.0 / 40.0, 1e-12)


@CLOSED_FORMS.line(
    "Twist of a cone, cells of 2.5 mm",
    "(1/s^3 - 1)/(3 (1 - s)), GJ as s^4",
    kind=AccuracyWord.EXACT,
)
def _cone_twist() -> Iterator[Case]:
    x = np.linspace(0.0, 1.0, 401)
    for s in (0.4, 0.6, 0.8):
        exact = (1.0 / s**3 - 1.0) / (3.0 * (1.0 - s))
        yield within(twist(x, (s + (1.0 - s) * x) ** 4, 0, 400, 1.0), exact, 5e-5)


# ---------------------------------------------------------------------- whole shaft

_LENGTH: Final = 1.0
_WRAPS: Final = 10.0
#: A mandrel without breakpoints: diameters at 0 and at its end, its length, its set.
_SLIM, _WIDE, _REACH, _SET = 0.006, 0.0156, 1.2, 0.100
_MATERIAL: Final = "standard-125"


def _sleeve() -> tuple[Report, Library]:
    """One straight flag over a whole conical mandrel."""
    library = read_library()
    cone = Mandrel(name="cone", distance=(0.0, _REACH), diameter=(_SLIM, _WIDE))
    library = replace(library, mandrels={"cone": cone})
    flag = Flag(
        name="straight",
        material=_MATERIAL,
        angle=0.0,
        is_pair=False,
        start=0.0,
        end=_LENGTH,
        wraps=_WRAPS,
    )
    shaft = Shaft(length=_LENGTH, mandrel="cone", mandrel_set=_SET)
    return evaluate(Design(name="sleeve", shaft=shaft, flags=(flag,)), library), library


def _sleeve_radii(library: Library, x: float) -> tuple[float, float]:
    inner = (_SLIM + (_WIDE - _SLIM) * (x + _SET) / _REACH) / 2.0
    return inner, inner + _WRAPS * library.prepregs[_MATERIAL].cured().thickness


@CLOSED_FORMS.line(
    "Weight and balance point of a conical sleeve",
    "volume and centroid of a hollow cone",
    kind=AccuracyWord.EXACT,
)
def _cone_mass() -> Iterator[Case]:
    report, library = _sleeve()
    density = library.prepregs[_MATERIAL].cured().density
    inner, outer = _sleeve_radii(library, 0.0)
    middle = sum(_sleeve_radii(library, _LENGTH / 2.0))
    slope = (_WIDE - _SLIM) / _REACH
    weight = density * math.pi * (outer - inner) * middle * _LENGTH
    balance = _LENGTH / 2.0 - slope * _LENGTH**2 / 12.0 / middle
    yield within(report.metrics["weight"] or 0.0, weight, 1e-12)
    yield within(report.metrics["balance_point"] or 0.0, balance, 1e-12)


@CLOSED_FORMS.line(
    "Cut area of a conical sleeve",
    "spiral: mean circumference x turns",
    kind=AccuracyWord.EXACT,
)
def _cone_area() -> Iterator[Case]:
    report, library = _sleeve()
    area = _WRAPS * math.pi * sum(_sleeve_radii(library, _LENGTH / 2.0)) * _LENGTH
    yield within(report.flags[0].area_net, area, 1e-12)


@CLOSED_FORMS.line(
    "Margins of a conical sleeve at T, A, B, C",
    "strain M r/EI",
    kind=AccuracyWord.EXACT,
)
def _cone_margins() -> Iterator[Case]:
    report, library = _sleeve()
    prepreg = library.prepregs[_MATERIAL]
    allowable = min(prepreg.strain_tension, prepreg.strain_compression)
    for point in report.strength:
        if point.name not in tuple("TABC") or point.station is None:
            continue
        EI = np.interp(point.station, report.profile.station, report.profile.EI)
        outer = _sleeve_radii(library, point.station)[1]
        moment = report.design.bench.strength_moment
        margin = point.margin if point.margin is not None else math.nan
        yield within(1.0 + margin, allowable * float(EI) / (moment * outer), 1e-9)


# ------------------------------------------------------------------------ libraries


def _library(name: str) -> ModuleType:
    try:
        return importlib.import_module(name)
    except ImportError as error:
        raise MissingLibraryError(name) from error


def _laminate_cases(A: Any, B: Any, D: Any) -> Iterator[Case]:
    """Compare with their matrices; errors count against the largest term."""
    ours = laminate_from_rings((0.0, 30.0, -45.0), 5e-3)
    theirs = {"A": np.asarray(A), "B": np.asarray(B), "D": np.asarray(D)}
    index = {"1": 0, "2": 1, "6": 2}
    for key, value in ours.items():
        matrix = theirs[key[0]]
        reference = float(matrix[index[key[1]], index[key[2]]])
        yield Case(value, reference, 1e-9 * float(np.abs(matrix).max()))


@LIBRARIES.line(
    "A, B, D16 to D66 of [0/30/-45] in the ring sums",
    "composipy",
    kind=AccuracyWord.LIBRARY,
    mark=AccuracyWord.COMPUTED,
)
def _composipy() -> Iterator[Case]:
    composipy = _library("composipy")
    E1, E2, G12, nu12 = KAW_PLY
    ply = composipy.OrthotropicMaterial(E1, E2, nu12, G12, 5e-3)
    theirs = composipy.LaminateProperty([0, 30, -45], ply)
    yield from _laminate_cases(theirs.A, theirs.B, theirs.D)


@LIBRARIES.line(
    "A, B, D16 to D66 of [0/30/-45] in the ring sums",
    "3pc-laminate",
    kind=AccuracyWord.LIBRARY,
    mark=AccuracyWord.COMPUTED,
)
def _laminate_library() -> Iterator[Case]:
    laminate = _library("laminate.laminate")
    material = _library("material.orthotropic")
    ply = _library("ply.ply")
    E1, E2, G12, nu12 = KAW_PLY
    fibre = material.Orthotropic(
        matID="1", E1=E1, E2=E2, G12=G12, G13=G12, G23=G12, v12=nu12
    )
    stack = [
        ply.Ply(plyID=str(angle), angle=angle, material=fibre, thickness=5e-3)
        for angle in (0, 30, -45)
    ]
    theirs = laminate.Laminate(lamID="1", stacking_sequence=stack, offset="mid")
    yield from _laminate_cases(theirs.A, theirs.B, theirs.D)


@LIBRARIES.line(
    "First frequency of a stepped, tapered shaft with a head",
    "scikit-fem, Hermite line elements",
    kind=AccuracyWord.LIBRARY,
    mark=AccuracyWord.COMPUTED,
)
def _hermite() -> Iterator[Case]:
    skfem = _library("skfem")
    helpers = _library("skfem.helpers")
    linalg = _library("scipy.sparse.linalg")
    nodes = np.linspace(0.0, 0.9, 46)
    basis = skfem.Basis(skfem.MeshLine(nodes), skfem.ElementLineHermite(), intorder=8)

    def stiff(u: Any, v: Any, w: Any) -> Any:
        return _stepped(w.x[0])[0] * helpers.ddot(helpers.dd(u), helpers.dd(v))

    def heavy(u: Any, v: Any, w: Any) -> Any:
        return _stepped(w.x[0])[1] * u * v

    K = skfem.BilinearForm(stiff).assemble(basis)
    bare = skfem.BilinearForm(heavy).assemble(basis)
    tip = basis.get_dofs(lambda x: np.isclose(x[0], nodes[0]))
    u, slope = int(tip.all("u")[0]), int(tip.all("u_x")[0])
    clamped = basis.get_dofs(lambda x: np.isclose(x[0], nodes[-1])).all()
    free = np.setdiff1d(np.arange(K.shape[0]), clamped)
    # a doubled station where the wall jumps
    x = np.concatenate([np.linspace(0.0, 0.3, 301), np.linspace(0.3, 0.9, 601)])
    EI, m = _stepped(x + np.repeat([-1e-12, 1e-12], [301, 601]))
    for mass, offset, inertia in (
        (0.205, 0.0, 0.0),
        (0.205, 0.035, 2e-4),
        (0.205, -0.020, 0.0),
        (0.050, 0.0, 5e-3),
    ):
        M = bare.tolil()
        # the head's centre lies beyond the tip: it moves by u - offset u'
        M[u, u] += mass
        M[u, slope] -= mass * offset
        M[slope, u] -= mass * offset
        M[slope, slope] += mass * offset**2 + inertia
        omega2 = linalg.eigsh(
            K[free][:, free].tocsc(),
            k=1,
            M=M.tocsr()[free][:, free].tocsc(),
            sigma=0.0,
            return_eigenvectors=False,
        )
        ours = first_frequency(
            x,
            EI,
            m,
            tip_mass=mass,
            tip_mass_offset=offset,
            tip_mass_inertia=inertia,
        )
        yield within(ours, math.sqrt(float(omega2[0])) / (2.0 * math.pi), 2e-6)


def _stepped(x: Array) -> tuple[Array, Array]:
    """EI and mass per length of a beam whose wall jumps at 0.3 m."""
    EI = np.where(x < 0.3, 20.0 + 10.0 * x, 45.0 + 20.0 * x)
    return EI, np.where(x < 0.3, 0.070, 0.045)
