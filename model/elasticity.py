"""Exact section of a layered circular tube: three-dimensional elasticity, ring by ring.

Displacements are harmonic round the tube, so that only the radius is left: polynomials
in each ring, least strain energy. Stretch and twist are harmonic 0, bending and
transverse shear harmonic 1. Axes and order of the strains as in ``model.solid``.
"""

from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from numpy.polynomial import Polynomial
from numpy.polynomial.legendre import Legendre, leggauss
from numpy.typing import ArrayLike, NDArray

from model.compilation import SOURCES, compiled, compiled_entry
from model.errors import ModelRangeError
from model.solid import AXIAL, AXIAL_HOOP, AXIAL_RADIAL, HOOP, HOOP_RADIAL, RADIAL

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Highest degree of the polynomials in a ring.
MAX_DEGREE = 8


class ExactSection(NamedTuple):
    """Section of a tube at its stations by three-dimensional elasticity.

    Strains stand at the inner and the outer radius of each ring, zero where a ring has
    no thickness. In bending the axial, hoop, radial and axial-hoop strains are those
    in the plane of bending (they go with the cosine of the clock angle), the other two
    those a quarter turn on (they go with its sine).
    """

    EI: Array  #: bending, (n_x,) [N·m²]
    GJ: Array  #: torsion, free to stretch, (n_x,) [N·m²]
    EA: Array  #: tension, held against twist, (n_x,) [N]
    coupling: Array  #: axial force under unit twist per length, (n_x,) [N·m]
    kGA: Array  #: transverse shear, from strain energy, (n_x,) [N]
    bending: Array  #: strain under unit curvature, (n_ring, n_x, 2, 6) [m]
    twist: Array  #: under unit twist per length, no stretch, (n_ring, n_x, 2, 6) [m]
    stretch: Array  #: under unit axial strain, no twist, (n_ring, n_x, 2, 6) [-]


class _Tables(NamedTuple):
    """Integrals of the polynomials of a ring over -1 to 1."""

    shape: Array  # (n_gauss, m) values at the quadrature points
    points: Array  # (n_gauss,)
    weights: Array  # (n_gauss,)
    ends: Array  # (2, m) slopes at -1 and 1
    n: Array  # (3, m) of shape times 1, u, u²
    d: Array  # (3, m) of slope times 1, u, u²
    nn: Array  # (2, m, m) of shape, shape times 1, u
    dd: Array  # (2, m, m) of slope, slope
    dn: Array  # (2, m, m) of slope, shape


@lru_cache
def _tables(degree: int) -> _Tables:
    inner = Legendre.basis(degree).deriv().roots()
    nodes = np.concatenate([[-1.0], np.sort(np.real(inner)), [1.0]])
    basis = []
    for i in range(degree + 1):
        others = np.delete(nodes, i)
        polynomial = Polynomial.fromroots(others)
        basis.append(polynomial / polynomial(nodes[i]))
    # exact for two shapes, a radius, and one degree to spare for 1/r
    points, weights = leggauss(degree + 2)
    value = np.array([f(points) for f in basis])
    slope = np.array([f.deriv()(points) for f in basis])
    moment = weights * np.vander(points, 3, increasing=True).T

    def products(left: Array, right: Array) -> Array:
        out: Array = np.einsum("kg,ig,jg->kij", moment[:2], left, right)
        return out

    return _Tables(
        np.ascontiguousarray(value.T),
        points,
        weights,
        np.array([[f.deriv()(u) for f in basis] for u in (-1.0, 1.0)]),
        moment @ value.T,
        moment @ slope.T,
        products(value, value),
        products(slope, slope),
        products(slope, value),
    )


@compiled
def _element(C: Array, a: float, b: float, t: Any, K: Array, K0: Array) -> None:
    """Stiffness of an element (upper half), harmonics 1 and 0, over pi and 2 pi."""
    m = t.n.shape[1]
    half = 0.5 * (b - a)
    middle = 0.5 * (b + a)
    C22, C23, C26 = C[1, 1], C[1, 2], C[1, 5]
    C33, C36, C66 = C[2, 2], C[2, 5], C[5, 5]
    C44, C45, C55 = C[3, 3], C[3, 4], C[4, 4]
    for i in range(m):
        for j in range(m):
            # of H = shape/r and D = slope, times r
            HH = 0.0
            for g in range(len(t.weights)):
                share = t.weights[g] / (middle + half * t.points[g])
                HH += share * t.shape[g, i] * t.shape[g, j]
            HH *= half
            HD = t.dn[0, j, i]
            DH = t.dn[0, i, j]
            DD = (middle * t.dd[0, i, j] + half * t.dd[1, i, j]) / half
            bulk = C22 * HH + C23 * (HD + DH) + C33 * DD
            K0[i, j] = bulk
            u, v = 3 * i, 3 * j
            K[u, v] = bulk + C44 * HH
            K[u, v + 1] = (C22 + C44) * HH + C23 * DH - C44 * HD
            K[u + 1, v] = (C22 + C44) * HH + C23 * HD - C44 * DH
            K[u + 1, v + 1] = C22 * HH + C44 * (DD - HD - DH + HH)
            K[u, v + 2] = C26 * HH + C36 * DH - C45 * HD
            K[u + 2, v] = C26 * HH + C36 * HD - C45 * DH
            K[u + 1, v + 2] = C26 * HH + C45 * (DD - HD)
            K[u + 2, v + 1] = C26 * HH + C45 * (DD - DH)
            K[u + 2, v + 2] = C66 * HH + C55 * DD


@compiled
def _radius_integrals(
    a: float, b: float, t: Any, N1: Array, N2: Array, D2: Array
) -> None:
    """Integrals of shape·r, shape·r², slope·r² over an element."""
    half = 0.5 * (b - a)
    middle = 0.5 * (b + a)
    for i in range(t.n.shape[1]):
        n0, n1, n2 = t.n[0, i], t.n[1, i], t.n[2, i]
        N1[i] = half * (middle * n0 + half * n1)
        N2[i] = half * (middle**2 * n0 + 2.0 * middle * half * n1 + half**2 * n2)
        D2[i] = (
            middle**2 * t.d[0, i]
            + 2.0 * middle * half * t.d[1, i]
            + half**2 * t.d[2, i]
        )


@compiled
def _eliminate(K: Array, inverse: Array, f: Array, n: int) -> None:
    """Eliminate the first unknowns of a symmetric matrix (upper half) and of loads."""
    size = K.shape[0]
    for k in range(n):
        pivot = 1.0 / K[k, k] if K[k, k] > 0.0 else 0.0
        inverse[k] = pivot
        for i in range(k + 1, size):
            share = K[k, i] * pivot
            for j in range(i, size):
                K[i, j] -= share * K[k, j]
            for load in range(f.shape[0]):
                f[load, i] -= share * f[load, k]


@compiled
def _forward(K: Array, inverse: Array, f: Array, n: int) -> None:
    """Loads alone, by the factors left by ``_eliminate``."""
    for k in range(n):
        share = f[k] * inverse[k]
        for i in range(k + 1, K.shape[0]):
            f[i] -= share * K[k, i]


@compiled
def _back(K: Array, inverse: Array, f: Array, n: int) -> None:
    """Solve for the first unknowns, the last of them known; in place."""
    for k in range(n - 1, -1, -1):
        rest = f[k]
        for j in range(k + 1, K.shape[0]):
            rest -= K[k, j] * f[j]
        f[k] = rest * inverse[k]


@compiled
def _shear_load(
    C: Array, a: float, b: float, t: Any, q: Array, N2: Array, outer: Array, own: Array
) -> float:
    """Loads of an element when the curvature grows along the tube.

    ``outer`` is the axial change of the bending stresses, ``own`` the stresses of the
    warping that changes along the axis; returned is twice the energy of the latter.
    All in the plane a quarter turn on, where sine and cosine of the clock angle
    become cosine and minus sine, and the stiffness is the same.
    """
    m = t.n.shape[1]
    half = 0.5 * (b - a)
    middle = 0.5 * (b + a)
    C11, C12, C13, C16 = C[0, 0], C[0, 1], C[0, 2], C[0, 5]
    C26, C36, C66 = C[1, 5], C[2, 5], C[5, 5]
    C45, C55 = C[3, 4], C[4, 4]
    energy = 0.0
    for i in range(m):
        out_u = 0.0
        out_v = -C16 * N2[i]
        out_w = -C11 * N2[i]
        own_u = own_v = own_w = 0.0
        for j in range(m):
            U, V, W = q[3 * j], q[3 * j + 1], q[3 * j + 2]
            NN = half * t.nn[0, i, j]
            NNr = half * (middle * t.nn[0, i, j] + half * t.nn[1, i, j])
            DN = middle * t.dn[0, i, j] + half * t.dn[1, i, j]
            ND = middle * t.dn[0, j, i] + half * t.dn[1, j, i]
            hoop = NN * (U + V)
            out_u += C45 * (ND * V - hoop) + C55 * ND * W
            out_v -= C26 * hoop + C36 * ND * U + C66 * NN * W
            out_w -= C12 * hoop + C13 * ND * U + C16 * NN * W
            s_hoop = C12 * W + C26 * V
            s_radial = C13 * W + C36 * V
            own_u += NN * s_hoop + DN * s_radial + NN * C45 * U
            own_v += NN * s_hoop - (DN - NN) * C45 * U
            own_w += NN * (C16 * W + C66 * V) - DN * C55 * U
            U_i, V_i, W_i = q[3 * i], q[3 * i + 1], q[3 * i + 2]
            energy += NNr * (
                C11 * W_i * W
                + C16 * (W_i * V + V_i * W)
                + C66 * V_i * V
                + C55 * U_i * U
            )
        outer[3 * i], outer[3 * i + 1], outer[3 * i + 2] = out_u, out_v, out_w
        own[3 * i], own[3 * i + 1], own[3 * i + 2] = own_u, own_v, own_w
    return energy


@compiled
def _station(
    C: Array,
    ring: IntArray,
    edge: Array,
    n: int,
    t: Any,
    K: Array,
    inverse: Array,
    f: Array,
    K0: Array,
    inverse0: Array,
    f0: Array,
    g: Array,
    stiffness: Array,
) -> None:
    """Solve one station: displacements into ``f`` and ``f0``, then the stiffness."""
    m = t.n.shape[1]
    size = 3 * m
    N1, N2, D2 = np.empty(m), np.empty(m), np.empty(m)
    axial, torsion, coupling, bending = 0.0, 0.0, 0.0, 0.0
    for e in range(n):
        a, b = edge[e], edge[e + 1]
        c = C[ring[e]]
        _element(c, a, b, t, K[e], K0[e])
        _radius_integrals(a, b, t, N1, N2, D2)
        half = 0.5 * (b - a)
        middle = 0.5 * (b + a)
        for i in range(m):
            D1 = middle * t.d[0, i] + half * t.d[1, i]
            f[e, 0, 3 * i] = -c[0, 1] * N1[i] - c[0, 2] * D2[i]
            f[e, 0, 3 * i + 1] = -c[0, 1] * N1[i]
            f[e, 0, 3 * i + 2] = -c[0, 5] * N1[i]
            f0[e, 0, i] = -c[0, 1] * half * t.n[0, i] - c[0, 2] * D1
            f0[e, 1, i] = -c[1, 5] * N1[i] - c[2, 5] * D2[i]
        if e == 0:
            # a rigid shift of the section strains nothing: the bore stays in place
            K[0, 0, 1] = 0.0
            K[0, 1, :] = 0.0
        else:
            for i in range(3):
                f[e, 0, i] += f[e - 1, 0, size - 3 + i]
                for j in range(i, 3):
                    K[e, i, j] += K[e - 1, size - 3 + i, size - 3 + j]
            K0[e, 0, 0] += K0[e - 1, m - 1, m - 1]
            f0[e, 0, 0] += f0[e - 1, 0, m - 1]
            f0[e, 1, 0] += f0[e - 1, 1, m - 1]
        last = e == n - 1
        _eliminate(K[e], inverse[e], f[e, :1], size if last else size - 3)
        _eliminate(K0[e], inverse0[e], f0[e], m if last else m - 1)
    for e in range(n - 1, -1, -1):
        if e < n - 1:
            for i in range(3):
                f[e, 0, size - 3 + i] = f[e + 1, 0, i]
            f0[e, 0, m - 1] = f0[e + 1, 0, 0]
            f0[e, 1, m - 1] = f0[e + 1, 1, 0]
        last = e == n - 1
        _back(K[e], inverse[e], f[e, 0], size if last else size - 3)
        for load in range(2):
            _back(K0[e], inverse0[e], f0[e, load], m if last else m - 1)

    # energies; then the loads of a curvature that grows along the tube
    own_energy, moment = 0.0, 0.0
    for e in range(n):
        a, b = edge[e], edge[e + 1]
        c = C[ring[e]]
        _radius_integrals(a, b, t, N1, N2, D2)
        half = 0.5 * (b - a)
        middle = 0.5 * (b + a)
        d2 = (b * b - a * a) / 2.0
        d3 = (b**3 - a**3) / 3.0
        d4 = (b**2 + a**2) * d2 / 2.0
        axial += c[0, 0] * d2
        coupling += c[0, 5] * d3
        torsion += c[5, 5] * d4
        bending += c[0, 0] * d4
        q = f[e, 0]
        for i in range(m):
            D1 = middle * t.d[0, i] + half * t.d[1, i]
            U, V, W = q[3 * i], q[3 * i + 1], q[3 * i + 2]
            bending += c[0, 1] * N1[i] * (U + V) + c[0, 2] * D2[i] * U
            bending += c[0, 5] * N1[i] * W
            moment += N2[i] * (c[0, 0] * W + c[0, 5] * V)
            axial += (c[0, 1] * half * t.n[0, i] + c[0, 2] * D1) * f0[e, 0, i]
            coupling += (c[0, 1] * half * t.n[0, i] + c[0, 2] * D1) * f0[e, 1, i]
            torsion += (c[1, 5] * N1[i] + c[2, 5] * D2[i]) * f0[e, 1, i]
        own_energy += _shear_load(c, a, b, t, q, N2, g[e, 0], g[e, 1])
        for i in range(size):
            f[e, 1, i] = g[e, 0, i] - g[e, 1, i]
        if e > 0:
            for i in range(3):
                f[e, 1, i] += f[e - 1, 1, size - 3 + i]
        _forward(K[e], inverse[e], f[e, 1], size if e == n - 1 else size - 3)
    for e in range(n - 1, -1, -1):
        if e < n - 1:
            for i in range(3):
                f[e, 1, size - 3 + i] = f[e + 1, 1, i]
        _back(K[e], inverse[e], f[e, 1], size if e == n - 1 else size - 3)

    # twice the energy where the moment is nothing, less a curvature a quarter turn on
    # that leaves no second moment
    energy, cross = own_energy, 0.0
    for e in range(n):
        a, b = edge[e], edge[e + 1]
        c = C[ring[e]]
        _radius_integrals(a, b, t, N1, N2, D2)
        q = f[e, 1]
        for i in range(size):
            energy += q[i] * (g[e, 0, i] + g[e, 1, i])
            cross += f[e, 0, i] * g[e, 0, i]
        for i in range(m):
            U, V, W = q[3 * i], q[3 * i + 1], q[3 * i + 2]
            moment += c[0, 1] * N1[i] * (U + V) + c[0, 2] * D2[i] * U
            moment += c[0, 5] * N1[i] * W
    turn = -moment / bending
    energy += 2.0 * turn * (moment + cross) + turn * turn * bending
    stiffness[0] = np.pi * bending
    stiffness[1] = 2.0 * np.pi * (torsion - coupling * coupling / axial)
    stiffness[2] = 2.0 * np.pi * axial
    stiffness[3] = 2.0 * np.pi * coupling
    stiffness[4] = np.pi * bending * bending / energy


@compiled
def _end_strains(
    q: Array, q0: Array, a: float, b: float, side: int, t: Any, out: Array
) -> None:
    """Strains at one end of an element: bending, twist, stretch."""
    m = t.n.shape[1]
    r = b if side == 1 else a
    at = m - 1 if side == 1 else 0
    slope = 2.0 / (b - a)
    dU, dV, dW, dU_twist, dU_stretch = 0.0, 0.0, 0.0, 0.0, 0.0
    for i in range(m):
        share = slope * t.ends[side, i]
        dU += share * q[3 * i]
        dV += share * q[3 * i + 1]
        dW += share * q[3 * i + 2]
        dU_stretch += share * q0[0, i]
        dU_twist += share * q0[1, i]
    hoop = (q[3 * at] + q[3 * at + 1]) / r
    out[0, AXIAL] = r
    out[0, HOOP] = hoop
    out[0, RADIAL] = dU
    out[0, HOOP_RADIAL] = dV - hoop
    out[0, AXIAL_RADIAL] = dW
    out[0, AXIAL_HOOP] = q[3 * at + 2] / r
    out[1, HOOP] = q0[1, at] / r
    out[1, RADIAL] = dU_twist
    out[1, AXIAL_HOOP] = r
    out[2, AXIAL] = 1.0
    out[2, HOOP] = q0[0, at] / r
    out[2, RADIAL] = dU_stretch


def _entry(sources: int) -> Any:
    @compiled_entry
    def solve_all(
        C: Array,
        r_in: Array,
        r_out: Array,
        elements: int,
        t: _Tables,
        stiffness: Array,
        strains: Array,
    ) -> None:
        _ = sources  # part of the key under which the machine code is kept
        n_ring, n_x = r_in.shape
        m = t.n.shape[1]
        most = n_ring * elements
        ring = np.zeros(most, dtype=np.int64)
        edge = np.zeros(most + 1)
        K = np.zeros((most, 3 * m, 3 * m))
        inverse = np.zeros((most, 3 * m))
        f = np.zeros((most, 2, 3 * m))
        g = np.zeros((most, 2, 3 * m))
        K0 = np.zeros((most, m, m))
        inverse0 = np.zeros((most, m))
        f0 = np.zeros((most, 2, m))
        for p in range(n_x):
            n = 0
            for k in range(n_ring):
                a, b = r_in[k, p], r_out[k, p]
                if b <= a:
                    continue
                for part in range(elements):
                    ring[n] = k
                    edge[n] = a + (b - a) * part / elements
                    n += 1
                edge[n] = b
            _station(
                C,
                ring,
                edge,
                n,
                t,
                K,
                inverse,
                f,
                K0,
                inverse0,
                f0,
                g,
                stiffness[:, p],
            )
            for e in range(n):
                a, b = edge[e], edge[e + 1]
                out = strains[ring[e], p]
                if e % elements == 0:
                    _end_strains(f[e, 0], f0[e], a, b, 0, t, out[0])
                if e % elements == elements - 1:
                    _end_strains(f[e, 0], f0[e], a, b, 1, t, out[1])

    return solve_all


_solve_all = _entry(SOURCES)


def exact_section(
    C: ArrayLike,
    r_in: ArrayLike,
    r_out: ArrayLike,
    *,
    degree: int = 3,
    elements: int = 1,
) -> ExactSection:
    """Section of a layered circular tube by three-dimensional elasticity.

    Parameters
    ----------
    C : array_like, shape (n_ring, 6, 6)
        Stiffness of each ring in the tube's axes. [Pa]
    r_in, r_out : array_like, shape (n_ring, n_x)
        Radii of each ring at each station, from the bore outward; a ring of no
        thickness is left out there. [m]
    degree : int
        Of the polynomials in a ring. [-]
    elements : int
        Equal parts into which a ring is cut. [-]

    Returns
    -------
    section : ExactSection
        Stiffness, and strains at both radii of each ring. [SI]

    Raises
    ------
    ModelRangeError
        If a ring has a negative thickness, rings do not touch, or no ring has any
        thickness at some station.

    Notes
    -----
    Long tube of constant section, plies bonded, surfaces free: the solution away from
    the ends, exact but for the polynomials. Transverse shear is the second problem of
    Saint-Venant, a curvature that grows along the tube; kGA is what gives its energy
    where the moment is nothing.

    References
    ----------
    .. [1] A. E. H. Love, A Treatise on the Mathematical Theory of Elasticity, 4th ed.,
       1927, chapter XV, the isotropic case of the problem; from memory.

    Examples
    --------
    >>> from model.solid import solid_stiffness
    >>> E, nu = 70e9, 0.3
    >>> C = solid_stiffness(E, E, E / 2 / (1 + nu), nu)
    >>> section = exact_section([C], [[5.5e-3]], [[6.5e-3]])
    >>> round(float(section.EI[0] / (E * np.pi / 4 * (6.5e-3**4 - 5.5e-3**4))), 9)
    1.0
    """
    stiff = np.ascontiguousarray(C, dtype=float)
    inner = np.ascontiguousarray(np.atleast_2d(np.asarray(r_in, dtype=float)))
    outer = np.ascontiguousarray(np.atleast_2d(np.asarray(r_out, dtype=float)))
    if not 1 <= degree <= MAX_DEGREE or elements < 1:
        raise ModelRangeError(f"degree is 1 to {MAX_DEGREE}, elements at least 1")
    if stiff.shape != (len(inner), 6, 6) or inner.shape != outer.shape:
        raise ModelRangeError("C, r_in and r_out do not have the same rings")
    _check_rings(inner, outer)
    n_ring, n_x = inner.shape
    stiffness = np.zeros((5, n_x))
    strains = np.zeros((n_ring, n_x, 2, 3, 6))
    _solve_all(stiff, inner, outer, elements, _tables(degree), stiffness, strains)
    bending, twist, stretch = np.moveaxis(strains, 3, 0)
    EI, GJ, EA, coupling, kGA = stiffness
    return ExactSection(EI, GJ, EA, coupling, kGA, bending, twist, stretch)


def _check_rings(inner: Array, outer: Array) -> None:
    if np.any(outer < inner):
        raise ModelRangeError("a ring's outer radius is below its inner radius")
    there = outer > inner
    if not np.all(np.any(there, axis=0)):
        raise ModelRangeError("no ring has any thickness at some station")
    if np.any(inner[there] < 0.0):
        raise ModelRangeError("a ring begins inside the axis")
    # outer radius of the ring below, carried over rings of no thickness
    filled = np.where(there, outer, -np.inf)
    below = np.maximum.accumulate(filled, axis=0)[:-1]
    gap = np.abs(inner[1:] - below) > 1e-9 * np.max(outer)
    if np.any(gap & there[1:] & np.isfinite(below)):
        raise ModelRangeError("a ring does not begin where the ring below it ends")
