"""Prepregs that may stand for one another: of like thickness, stiffer or softer."""

from typing import Final

from model import Library

#: Plies of like thickness differ by no more than this share.
LIKE_THICKNESS: Final = 0.15
#: A material is stiffer or softer if its modulus along the fibre differs by this share.
_UNLIKE_MODULUS = 0.03


def neighbours(material: str, library: Library, bleed: float) -> dict[str, str | None]:
    """Prepregs of like thickness that are next stiffer and next softer.

    Parameters
    ----------
    material : str
        A prepreg. [-]
    library : Library
        Where to look. [-]
    bleed : float
        Resin lost in cure, of the prepreg's mass. [-]

    Returns
    -------
    names : dict
        Under "stiffer" and "softer"; None where the library has none. [-]
    """
    own = library.prepregs[material].cured(bleed)
    ratios = {
        name: (ply.E1 / own.E1, abs(ply.thickness / own.thickness - 1.0))
        for name, prepreg in library.prepregs.items()
        for ply in (prepreg.cured(bleed),)
        if name != material
        and abs(ply.thickness / own.thickness - 1.0) <= LIKE_THICKNESS
    }
    stiffer = [name for name, r in ratios.items() if r[0] > 1.0 + _UNLIKE_MODULUS]
    softer = [name for name, r in ratios.items() if r[0] < 1.0 - _UNLIKE_MODULUS]
    return {
        "stiffer": min(stiffer, key=lambda name: ratios[name], default=None),
        "softer": min(
            softer, key=lambda name: (-ratios[name][0], ratios[name][1]), default=None
        ),
    }
