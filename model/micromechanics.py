"""From fibre and resin to a cured ply: contents, thickness and stiffness.

Plain functions of numbers; `library` applies them to prepregs. Stiffness is that of a
unidirectional ply: rule of mixtures along the fibre, Halpin-Tsai across it.
"""

from __future__ import annotations


def resin_after_bleed(resin_content: float, bleed: float) -> float:
    """Resin content of a ply after resin has bled out in cure.

    Parameters
    ----------
    resin_content : float
        Resin mass per prepreg mass before cure. [-]
    bleed : float
        Resin mass lost per prepreg mass before cure. [-]

    Returns
    -------
    resin_content : float
        Resin mass per ply mass after cure. [-]

    Examples
    --------
    >>> round(resin_after_bleed(0.25, 0.02), 4)
    0.2347
    """
    return (resin_content - bleed) / (1.0 - bleed)


def areal_mass(fibre_areal_mass: float, resin_content: float) -> float:
    """Mass of a ply per area.

    Parameters
    ----------
    fibre_areal_mass : float
        Fibre mass per area (the trade's FAW). [kg/m²]
    resin_content : float
        Resin mass per ply mass. [-]

    Returns
    -------
    mass : float
        Fibre and resin. [kg/m²]
    """
    return fibre_areal_mass / (1.0 - resin_content)


def ply_thickness(
    fibre_areal_mass: float,
    resin_content: float,
    fibre_density: float,
    resin_density: float,
) -> float:
    """Thickness of a ply without voids, from its constituents.

    Parameters
    ----------
    fibre_areal_mass : float
        Fibre mass per area. [kg/m²]
    resin_content : float
        Resin mass per ply mass. [-]
    fibre_density, resin_density : float
        Densities. [kg/m³]

    Returns
    -------
    thickness : float
        Cured ply thickness. [m]

    Notes
    -----
    The constituent-content rule of ASTM D3171, method II, solved for the thickness.

    Examples
    --------
    >>> round(ply_thickness(0.125, 0.25, 1800.0, 1200.0) * 1e3, 4)
    0.1042
    """
    resin_areal_mass = areal_mass(fibre_areal_mass, resin_content) * resin_content
    return fibre_areal_mass / fibre_density + resin_areal_mass / resin_density


def mixture(fibre_value: float, resin_value: float, Vf: float) -> float:
    """Rule of mixtures: stiffness along the fibre, major Poisson's ratio.

    Parameters
    ----------
    fibre_value, resin_value : float
        Property of each constituent. [any]
    Vf : float
        Fibre volume fraction. [-]

    Returns
    -------
    value : float
        Property of the ply. [any]

    References
    ----------
    .. [1] Kaw, Mechanics of Composite Materials, 2nd ed., 2006, chapter 3.
    """
    return fibre_value * Vf + resin_value * (1.0 - Vf)


def halpin_tsai(fibre_value: float, resin_value: float, Vf: float, xi: float) -> float:
    """Halpin-Tsai rule: stiffness of a ply across its fibres or in shear.

    Parameters
    ----------
    fibre_value, resin_value : float
        Stiffness of each constituent in the same direction. [any]
    Vf : float
        Fibre volume fraction. [-]
    xi : float
        Reinforcing factor: 2 for the transverse, 1 for the shear modulus. [-]

    Returns
    -------
    value : float
        Stiffness of the ply. [any]

    References
    ----------
    .. [1] Kaw, Mechanics of Composite Materials, 2nd ed., 2006, chapter 3.
    """
    ratio = fibre_value / resin_value
    eta = (ratio - 1.0) / (ratio + xi)
    return resin_value * (1.0 + xi * eta * Vf) / (1.0 - eta * Vf)
