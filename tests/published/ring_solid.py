"""A layered ring under a load on its diameter by plane finite elements."""

from itertools import pairwise

import numpy as np
from skfem import (
    Basis,
    BilinearForm,
    ElementQuad2,
    ElementVector,
    MeshQuad,
    asm,
    condense,
    solve,
)
from skfem.helpers import sym_grad

#: Elements over the wall's layers (each), and along a quarter of the ring.
N_LAYER, N_ARC = 4, 100


def plane_strain_stiffness(E, nu, G):
    """Stiffness [hoop, radial, shear] at no axial strain from three-dimensional moduli.

    Moduli stand in the order axial, hoop, radial; ``nu`` holds axial-hoop,
    axial-radial and hoop-radial ratios; ``G`` is the hoop-radial shear modulus.
    """
    compliance = np.diag(1.0 / np.array(E))
    for value, i, j in ((nu[0], 0, 1), (nu[1], 0, 2), (nu[2], 1, 2)):
        compliance[i, j] = compliance[j, i] = -value / E[i]
    C = np.linalg.inv(compliance)
    return np.array([[C[1, 1], C[1, 2], 0], [C[1, 2], C[2, 2], 0], [0, 0, G]])


def crushed_ring(edges, stiffness, width):
    """Shortening of the inner diameter and hoop strain outside, beside the load.

    Both per unit load. ``edges`` are the radii between the layers, ``stiffness`` their
    matrices from ``plane_strain_stiffness``.
    """
    pieces = [np.linspace(a, b, N_LAYER + 1)[:-1] for a, b in pairwise(edges)]
    radii = np.concatenate([*pieces, [edges[-1]]])
    # angle from the load; finer towards it
    angles = 0.5 * np.pi * np.linspace(0.0, 1.0, N_ARC + 1) ** 1.5
    mesh = MeshQuad.init_tensor(radii, angles)
    layer = (np.searchsorted(edges, mesh.p[0][mesh.t].mean(axis=0)) - 1).astype(int)
    r, t = mesh.p
    mesh = MeshQuad(np.array([r * np.sin(t), r * np.cos(t)]), mesh.t)
    basis = Basis(mesh, ElementVector(ElementQuad2()))
    C = np.moveaxis(np.array(stiffness)[layer], 0, -1)[..., None]

    @BilinearForm
    def work(u, v, w):
        x, y = w.x
        radius = np.sqrt(x * x + y * y)
        hoop = np.array([y, -x]) / radius
        radial = np.array([x, y]) / radius

        def polar(field):
            e = sym_grad(field)
            return [
                np.einsum("i...,ij...,j...", hoop, e, hoop),
                np.einsum("i...,ij...,j...", radial, e, radial),
                2.0 * np.einsum("i...,ij...,j...", hoop, e, radial),
            ]

        a, b = polar(u), polar(v)
        return sum(C[i, j] * b[i] * a[j] for i in range(3) for j in range(3))

    K = asm(work, basis)
    load = np.zeros(basis.N)
    x, y = basis.doflocs
    vertical = np.zeros(basis.N, dtype=bool)
    vertical[basis.nodal_dofs[1]] = True
    vertical[basis.facet_dofs[1]] = True
    vertical[basis.interior_dofs[1]] = True
    at = np.flatnonzero(vertical & (np.hypot(x, y - edges[-1]) < 1e-9))
    load[at] = -0.5 / width
    held = np.flatnonzero(
        (~vertical & (np.abs(x) < 1e-9)) | (vertical & (np.abs(y) < 1e-9))
    )
    u = solve(*condense(K, load, D=held))
    inside = np.flatnonzero(vertical & (np.hypot(x, y - edges[0]) < 1e-9))
    return -2.0 * u[inside[0]], _hoop_strain(x, y, u, vertical, edges[-1])


def _hoop_strain(x, y, u, vertical, radius):
    """Mean hoop strain over the outer edge of the element beside the load."""
    outside = np.flatnonzero(
        vertical & (np.abs(np.hypot(x, y) - radius) < 4e-4 * radius)
    )
    upward = outside[np.argsort(y[outside])][:3]
    angle = np.arctan2(y[upward], x[upward])
    sideways = [
        int(np.flatnonzero(~vertical & (np.hypot(x - x[i], y - y[i]) < 1e-12))[0])
        for i in upward
    ]
    c, s = np.cos(angle), np.sin(angle)
    outward = c * u[sideways] + s * u[upward]
    along = c * u[upward] - s * u[sideways]
    mean_outward = (outward[0] + 4 * outward[1] + outward[2]) / 6
    return ((along[2] - along[0]) / (angle[2] - angle[0]) + mean_outward) / radius
