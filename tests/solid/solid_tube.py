"""Layered tubes in three dimensions, by solid finite elements.

Curved hexahedra of 27 nodes from scikit-fem, displacements along x, y, z, so that a
motion of the whole body costs nothing however far it goes. The material of a ring is
turned with the circle at every point of integration. Strains are (rr, tt, zz, tz, rz,
rt) with engineering shears.

Nothing of the package's own mechanics is used here: stiffness, walls and solvers are
written anew, so that both sides can be wrong only independently.
"""

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
import scipy.sparse as sp
import skfem
from scipy.sparse.linalg import splu

X, Y, Z = 0, 1, 2
#: index pairs of the six strains
_PAIRS = ((0, 0), (1, 1), (2, 2), (1, 2), (0, 2), (0, 1))
#: elements whose stiffness is worked out at once, for the sake of memory
_CHUNK = 256
#: points closer than this are one point of the solid [m]
_SAME = 1e-9


def ply_stiffness(E1, E2, G12, nu12):
    """Stiffness tensor of a transversely isotropic ply in its own axes. [Pa]

    Axis 0 along the fibres. The Poisson ratio of the plane across them is that of
    nu23 = nu12 (1 - nu12 E2/E1)/(1 - nu12).
    """
    nu23 = nu12 * (1 - nu12 * E2 / E1) / (1 - nu12)
    G23 = E2 / 2 / (1 + nu23)
    compliance = np.zeros((6, 6))
    compliance[:3, :3] = [
        [1 / E1, -nu12 / E1, -nu12 / E1],
        [-nu12 / E1, 1 / E2, -nu23 / E2],
        [-nu12 / E1, -nu23 / E2, 1 / E2],
    ]
    compliance[3:, 3:] = np.diag([1 / G23, 1 / G12, 1 / G12])
    voigt = np.linalg.inv(compliance)
    tensor = np.zeros((3, 3, 3, 3))
    for row, (i, j) in enumerate(_PAIRS):
        for column, (k, m) in enumerate(_PAIRS):
            for a, b in {(i, j), (j, i)}:
                for c, d in {(k, m), (m, k)}:
                    tensor[a, b, c, d] = voigt[row, column]
    return tensor


def ring_stiffness(E1, E2, G12, nu12, angle, is_pair, slope=0.0):
    """Stiffness matrix of a ring along (r, t, z), shape (6, 6). [Pa]

    Fibres at an angle from the axis towards the hoop; a pair is the mean of +angle and
    -angle. A slope dr/dz tilts the ply with a conical layer.
    """
    tensor = ply_stiffness(E1, E2, G12, nu12)
    tilt = np.arctan(slope)
    radial = np.array([np.cos(tilt), 0.0, -np.sin(tilt)])
    along = np.array([np.sin(tilt), 0.0, np.cos(tilt)])
    hoop = np.array([0.0, 1.0, 0.0])
    total = np.zeros((6, 6))
    angles = (angle, -angle) if is_pair else (angle,)
    for a in angles:
        fibre = np.cos(a) * along + np.sin(a) * hoop
        across = -np.sin(a) * along + np.cos(a) * hoop
        axes = np.stack([fibre, across, radial], axis=1)
        turned = np.einsum(
            "ia,jb,kc,ld,abcd->ijkl", axes, axes, axes, axes, tensor, optimize=True
        )
        total += [[turned[i, j, k, m] for k, m in _PAIRS] for i, j in _PAIRS]
    return total / len(angles)


def round_factor(angle):
    """How far outside a circle the nodes of quadratic arcs lie for the same area."""
    half = angle / 2
    # x = 1 - (1 - cos) s², y = s sin: area from the axis, s from -1 to 1
    swept = np.sin(half) * (2 + (1 - np.cos(half)) * 2 / 3) / 2
    return np.sqrt(half / swept)


@dataclass
class Solid:
    """A stack of rings along z, meshed.

    A ring may thin out to nothing: its elements become wedges there, and beyond it has
    none. Nodes at one place are one node.
    """

    radii: np.ndarray  #: of the interfaces, (n_ring + 1, n_z) [m]
    z: np.ndarray  #: (n_z,) [m]
    angles: np.ndarray  #: equal steps round the axis, (n_theta + 1,) [rad]
    rings: list  #: (E1, E2, G12, nu12, angle, is_pair) of each
    period: float | None = None  #: along z, if the solid repeats [m]

    def __post_init__(self):
        n_ring = len(self.rings)
        grid = skfem.MeshHex.init_tensor(
            np.arange(n_ring + 1.0), self.angles, np.arange(len(self.z), dtype=float)
        )
        layer = np.floor(grid.p[0, grid.t].mean(axis=0)).astype(int)
        cell = np.floor(grid.p[2, grid.t].mean(axis=0)).astype(int)
        thickness = np.diff(self.radii, axis=0)
        there = thickness[layer, cell] + thickness[layer, cell + 1] > _SAME
        self.layer, self.cell = layer[there], cell[there]
        grid = grid.restrict(np.flatnonzero(there))
        k, i = np.rint(grid.p[[0, 2]]).astype(int)
        flat = skfem.MeshHex(np.stack([self.radii[k, i], grid.p[1], self.z[i]]), grid.t)
        # straight in r, theta, z; its mid-nodes lie on the circles once bent
        curved = skfem.MeshHex2.from_mesh(flat)
        r, theta, z = curved.doflocs
        r = r * round_factor(self.angles[1] - self.angles[0])
        self.mesh = skfem.MeshHex2(
            doflocs=np.stack([r * np.cos(theta), r * np.sin(theta), z]), t=curved.t
        )
        self.basis = skfem.Basis(self.mesh, skfem.ElementHex2(), intorder=5)
        places = self.basis.doflocs.copy()
        if self.period is not None:
            places[Z][places[Z] > self.period - _SAME] -= self.period
        keys = np.rint(places / _SAME).astype(np.int64)
        # numbered along z first, so that the stiffness is a narrow band
        _, first, inverse = np.unique(
            keys[::-1], axis=1, return_index=True, return_inverse=True
        )
        self.places = places[:, first]
        self.number = inverse.ravel()[self.basis.element_dofs.T]
        self.n = 3 * len(first)

    @cached_property
    def C(self):
        """Stiffness of each element, (n_element, 6, 6), tilted with its layer."""
        middle = (self.radii[:-1] + self.radii[1:]) / 2
        slopes = np.diff(middle, axis=1) / np.diff(self.z)
        known = {}
        out = np.empty((self.mesh.nelements, 6, 6))
        for e, (k, i) in enumerate(zip(self.layer, self.cell, strict=True)):
            key = (k, round(float(slopes[k, i]), 7))
            if key not in known:
                known[key] = ring_stiffness(*self.rings[k], slope=key[1])
            out[e] = known[key]
        return out

    def _strains(self, part):
        """Strains of the shape functions, (n, n_point, 6, 81); x, y, z; volumes."""
        x = np.asarray(self.basis.global_coordinates())[:, part]
        r = np.hypot(x[0], x[1])
        c, s = x[0] / r, x[1] / r
        g = np.stack([f.grad[:, part] for (f,) in self.basis.basis], axis=-1)
        zero, one = np.zeros_like(c), np.ones_like(c)
        # radial, hoop and axial directions
        axes = np.array([[c, s, zero], [-s, c, zero], [zero, zero, one]])
        local = np.einsum("acnq,cnqf->anqf", axes, g)
        n, q, f = g.shape[1:]
        out = np.zeros((n, q, 6, f, 3))
        for row, (a, b) in enumerate(_PAIRS):
            for e, d in {(a, b), (b, a)}:
                out[:, :, row] += np.einsum("nqf,cnq->nqfc", local[d], axes[e])
        return out.reshape(n, q, 6, 3 * f), x, self.basis.dx[part]

    def _parts(self):
        n = self.mesh.nelements
        return [np.arange(a, min(a + _CHUNK, n)) for a in range(0, n, _CHUNK)]

    def _freedoms(self, part=slice(None)):
        numbers = self.number[part]
        return (3 * numbers[:, :, None] + np.arange(3)).reshape(len(numbers), -1)

    def _gather(self, blocks):
        numbers = self._freedoms()
        width = numbers.shape[1]
        rows = np.repeat(numbers, width, axis=1).ravel()
        columns = np.tile(numbers, (1, width)).ravel()
        data = np.concatenate([block.ravel() for block in blocks])
        matrix = sp.coo_matrix((data, (rows, columns)), shape=(self.n, self.n))
        return matrix.tocsc()

    def stiffness(self):
        """Stiffness matrix."""
        blocks = []
        for part in self._parts():
            B, _, dv = self._strains(part)
            CB = (self.C[part][:, None] @ B) * dv[:, :, None, None]
            n, q, s, f = B.shape
            flat = B.reshape(n, q * s, f)
            blocks.append(flat.transpose(0, 2, 1) @ CB.reshape(n, q * s, f))
        return self._gather(blocks)

    def mass(self, density):
        """Mass matrix for the density of each ring. [kg/m³]"""
        rho = np.asarray(density)[self.layer]
        N = np.stack([np.asarray(f) for (f,) in self.basis.basis], axis=-1)
        N = np.broadcast_to(N, (self.mesh.nelements, *N.shape[1:]))
        weighted = N * (self.basis.dx * rho[:, None])[:, :, None]
        scalar = N.transpose(0, 2, 1) @ weighted
        blocks = np.einsum("nfg,cd->nfcgd", scalar, np.eye(3))
        return self._gather([blocks])

    def imposed(self, strain):
        """Forces of imposed strain fields, and their work on each other.

        `strain` takes x, y and gives a list of fields, each of six strains.
        """
        forces, works = 0.0, 0.0
        for part in self._parts():
            B, x, dv = self._strains(part)
            fields = strain(x[0], x[1])
            e0 = np.stack([np.stack(field, axis=-1) for field in fields], axis=-1)
            stress = (self.C[part][:, None] @ e0) * dv[:, :, None, None]
            loads = np.einsum("nqsj,nqsf->njf", B, stress)
            works += np.einsum("nqsf,nqsg->fg", e0, stress)
            numbers = self._freedoms(part).ravel()
            forces += np.stack(
                [
                    np.bincount(numbers, loads[:, :, f].ravel(), minlength=self.n)
                    for f in range(len(fields))
                ],
                axis=-1,
            )
        return forces, works

    def face(self, station, weight):
        """Integral over a cross-section of weight(x, y) times the displacement.

        `weight` gives the parts along x, y, z.
        """
        here = self.mesh.facets_satisfying(
            lambda x: np.abs(x[2] - station) < _SAME * 10
        )
        basis = skfem.FacetBasis(self.mesh, self.basis.elem, facets=here, intorder=7)
        vector = np.zeros((self.n // 3, 3))
        x = np.asarray(basis.global_coordinates())
        parts = np.stack(np.broadcast_arrays(*weight(x[0], x[1])))
        numbers = self.number[basis.tind]
        for j, (field,) in enumerate(basis.basis):
            value = np.sum(parts * np.asarray(field) * basis.dx, axis=2)
            np.add.at(vector, numbers[:, j], value.T)
        return vector.ravel()

    def at(self, axis, value, components):
        """Freedoms of some components on a plane."""
        nodes = np.flatnonzero(np.abs(self.places[axis] - value) < 10 * _SAME)
        return (3 * nodes[:, None] + np.array(components)).ravel()


def section(rings, radii, n_theta=16, split=1):
    """EA, GJ, EI of a uniform tube and its stretch-twist coupling, in SI.

    A slice of one element with periodic faces under axial strain, twist and curvature:
    the displacement that is left over repeats along the axis, as in Saint-Venant's
    problem, so there are no end effects.

    Parameters
    ----------
    rings : list of tuple
        (E1, E2, G12, nu12, angle, is_pair) of each ring.
    radii : sequence of float
        Of the interfaces, one more than rings. [m]
    n_theta, split : int
        Elements round the circle, and through each ring.
    """
    fine = [np.linspace(a, b, split + 1)[:-1] for a, b in pairwise(radii)]
    interfaces = np.append(np.concatenate(fine), radii[-1])
    height = 0.5 * radii[-1]
    solid = Solid(
        radii=np.repeat(interfaces[:, None], 2, axis=1),
        z=np.array([0.0, height]),
        angles=np.linspace(0.0, 2 * np.pi, n_theta + 1),
        rings=[ring for ring in rings for _ in range(split)],
        period=height,
    )

    def strain(x, y):
        zero = 0.0 * x
        return [
            [zero, zero, zero + 1.0, zero, zero, zero],
            [zero, zero, zero, np.hypot(x, y), zero, zero],
            [zero, zero, x, zero, zero, zero],
        ]

    forces, own = solid.imposed(strain)
    K = solid.stiffness()
    # translations and the turn about the axis cost nothing: a trace of a spring each
    K = K + 1e-10 * K.diagonal().max() * sp.identity(solid.n)
    factor = splu(
        K.tocsc(),
        permc_spec="MMD_AT_PLUS_A",
        diag_pivot_thresh=0.0,
        options={"SymmetricMode": True},
    )
    left = factor.solve(-forces)
    D = (own + forces.T @ left) / height
    return {
        "EA": float(D[0, 0]),
        "GJ": float(D[1, 1] - D[0, 1] ** 2 / D[0, 0]),
        "EI": float(D[2, 2]),
        "coupling": float(D[0, 1]),
    }
