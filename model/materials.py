"""Fibres, resins, and the prepregs and cured plies that are made of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Final

from pydantic import AfterValidator, Field, ValidationInfo

from model.errors import suggestion
from model.fields import Cell, Text
from model.micromechanics import (
    areal_mass,
    halpin_tsai,
    mixture,
    ply_thickness,
    resin_after_bleed,
)
from model.records import FORBID_EXTRA

#: Allowable strain across the fibres in compression over that in tension, where a row
#: has none: the least of common ratios of 4 to 6, that of the ply in I. M. Daniel and
#: O. Ishai, Engineering Mechanics of Composite Materials (228 and 57 MPa).
TRANSVERSE_RATIO: Final = 4.0
#: Thermal expansion along and across the fibres, where a row has none; typical of
#: carbon/epoxy, from memory. [1/K]
EXPANSION_ALONG: Final = 0.0
EXPANSION_ACROSS: Final = 30e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Fibre:
    """A carbon fibre, stiffer along than across."""

    __pydantic_config__ = FORBID_EXTRA

    name: Annotated[str, Text(), Field(alias="fibre")]  #: its key
    fibre_class: Annotated[str, Text(), Field(alias="class")]  #: such as "standard"
    #: modulus along the fibre [Pa]
    E1: Annotated[
        float,
        Cell("GPa", "modulus", above=0, at_most=1500),
        Field(alias="modulus_gpa"),
    ]
    #: tensile strength [Pa]
    strength: Annotated[
        float,
        Cell("MPa", "modulus", above=0, at_most=20000),
        Field(alias="strength_mpa"),
    ]
    #: tensile strain at failure [-]
    strain: Annotated[
        float, Cell("%", "percent", above=0, at_most=10), Field(alias="strain_pct")
    ]
    #: density [kg/m³]
    density: Annotated[
        float,
        Cell("g/cm^3", "density", above=0, at_most=20),
        Field(alias="density_g_cm3"),
    ]
    #: modulus across the fibre [Pa]
    E2: Annotated[
        float,
        Cell("GPa", "modulus", above=0, at_most=1500),
        Field(alias="transverse_modulus_gpa"),
    ]
    #: shear modulus along the fibre [Pa]
    G12: Annotated[
        float,
        Cell("GPa", "modulus", above=0, at_most=1500),
        Field(alias="shear_modulus_gpa"),
    ]
    #: major Poisson's ratio [-]
    nu12: Annotated[
        float, Cell("", "number", at_least=0, at_most=0.5), Field(alias="poisson")
    ]
    source: Annotated[str, Text()]  #: where the numbers come from


@dataclass(frozen=True, slots=True, kw_only=True)
class Resin:
    """A cured resin, alike in all directions."""

    __pydantic_config__ = FORBID_EXTRA

    name: Annotated[str, Text(), Field(alias="resin")]  #: its key
    #: Young's modulus [Pa]
    modulus: Annotated[
        float,
        Cell("GPa", "modulus", above=0, at_most=100),
        Field(alias="modulus_gpa"),
    ]
    #: Poisson's ratio [-]
    poisson: Annotated[float, Cell("", "number", at_least=0, at_most=0.5)]
    #: density [kg/m³]
    density: Annotated[
        float,
        Cell("g/cm^3", "density", above=0, at_most=20),
        Field(alias="density_g_cm3"),
    ]
    source: Annotated[str, Text()]  #: where the numbers come from

    @property
    def shear_modulus(self) -> float:
        """Shear modulus [Pa]."""
        return self.modulus / (2.0 * (1.0 + self.poisson))


@dataclass(frozen=True, slots=True, kw_only=True)
class Ply:
    """A cured ply as the wall is built of it."""

    thickness: float  #: [m]
    areal_mass: float  #: [kg/m²]
    Vf: float  #: fibre volume fraction [-]
    density: float  #: [kg/m³]
    E1: float  #: modulus along the fibre [Pa]
    E2: float  #: modulus across the fibre [Pa]
    G12: float  #: in-plane shear modulus [Pa]
    nu12: float  #: major Poisson's ratio [-]
    strain_tension: float  #: allowable strain along the fibre, tension [-]
    strain_compression: float  #: the same, compression, as a positive number [-]
    strain_transverse: float  #: allowable strain across the fibre, tension [-]
    #: the same, compression, as a positive number [-]
    strain_transverse_compression: float
    strain_shear: float  #: allowable engineering shear strain [-]
    expansion_along: float  #: thermal expansion along the fibre [1/K]
    expansion_across: float  #: the same, across the fibre [1/K]


def _known(kind: str, info: ValidationInfo, name: str) -> Any:
    """Look a constituent up; a faulty row of that name counts as known."""
    table: Mapping[str, Any] = (info.context or {})[kind]
    if name not in table and table:
        raise ValueError(f"not in {kind}s.csv. {suggestion(name, table)}")
    return table.get(name)


def _known_fibre(name: Any, info: ValidationInfo) -> Any:
    return _known("fibre", info, name)


def _known_resin(name: Any, info: ValidationInfo) -> Any:
    return _known("resin", info, name)


@dataclass(frozen=True, slots=True, kw_only=True)
class Prepreg:
    """A roll good: a sheet of parallel fibres in uncured resin."""

    __pydantic_config__ = FORBID_EXTRA

    name: Annotated[str, Text(), Field(alias="prepreg")]  #: its key
    fibre: Annotated[Fibre, Text(), AfterValidator(_known_fibre)]  #: its fibre
    resin: Annotated[Resin, Text(), AfterValidator(_known_resin)]  #: its resin
    #: fibre mass per area, the trade's FAW [kg/m²]
    faw: Annotated[
        float, Cell("g/m^2", "areal", at_least=5, at_most=1000), Field(alias="faw_g_m2")
    ]
    #: resin mass per prepreg mass before cure [-]
    resin_content: Annotated[
        float, Cell("%", "percent", at_least=10, at_most=60), Field(alias="resin_pct")
    ]
    #: price in the library's currency [1/m²]
    price: Annotated[float, Cell("", "number", above=0), Field(alias="price_per_m2")]
    #: width of the roll, across its fibres [m]
    roll_width: Annotated[
        float,
        Cell("mm", "length", at_least=50, at_most=5000),
        Field(alias="roll_width_mm"),
    ]
    #: allowable strain of the ply along the fibre, tension [-]
    strain_tension: Annotated[
        float,
        Cell("%", "percent", above=0, at_most=10),
        Field(alias="strain_tension_pct"),
    ]
    #: the same, compression, as a positive number [-]
    strain_compression: Annotated[
        float,
        Cell("%", "percent", above=0, at_most=10),
        Field(alias="strain_compression_pct"),
    ]
    #: allowable strain across the fibre, tension [-]
    strain_transverse: Annotated[
        float,
        Cell("%", "percent", above=0, at_most=10),
        Field(alias="strain_transverse_pct"),
    ]
    #: allowable engineering shear strain [-]
    strain_shear: Annotated[
        float,
        Cell("%", "percent", above=0, at_most=20),
        Field(alias="strain_shear_pct"),
    ]
    #: measured modulus along the fibre, if any [Pa]
    E1: Annotated[
        float | None,
        Cell("GPa", "modulus", above=0, at_most=1000, optional=True),
        Field(alias="e1_gpa"),
    ] = None
    #: measured modulus across the fibre, if any [Pa]
    E2: Annotated[
        float | None,
        Cell("GPa", "modulus", above=0, at_most=1000, optional=True),
        Field(alias="e2_gpa"),
    ] = None
    #: measured shear modulus, if any [Pa]
    G12: Annotated[
        float | None,
        Cell("GPa", "modulus", above=0, at_most=1000, optional=True),
        Field(alias="g12_gpa"),
    ] = None
    #: measured major Poisson's ratio, if any [-]
    nu12: Annotated[
        float | None, Cell("", "number", at_least=0, at_most=0.5, optional=True)
    ] = None
    #: measured cured thickness, if any [m]
    thickness: Annotated[
        float | None,
        Cell("mm", "length", above=0, at_most=2, optional=True),
        Field(alias="thickness_mm"),
    ] = None
    #: allowable strain across the fibre, compression, if known [-]
    strain_transverse_compression: Annotated[
        float | None,
        Cell("%", "percent", above=0, at_most=20, optional=True),
        Field(alias="strain_transverse_compression_pct"),
    ] = None
    #: measured thermal expansion along the fibre, if any [1/K]
    expansion_along: Annotated[
        float | None,
        Cell("um/m", "number", at_least=-20, at_most=200, optional=True),
        Field(alias="expansion_along_um_m_k"),
    ] = None
    #: measured thermal expansion across the fibre, if any [1/K]
    expansion_across: Annotated[
        float | None,
        Cell("um/m", "number", at_least=-20, at_most=200, optional=True),
        Field(alias="expansion_across_um_m_k"),
    ] = None
    source: Annotated[str, Text()]  #: where the numbers come from

    def cured(self, resin_bleed: float = 0.0) -> Ply:
        """Cured ply of this prepreg.

        Parameters
        ----------
        resin_bleed : float
            Resin mass lost in cure per prepreg mass. [-]

        Returns
        -------
        ply : Ply
            Measured values where the row has them, else from the constituents; bleed
            changes derived values only. [SI]
        """
        resin_content = resin_after_bleed(self.resin_content, resin_bleed)
        fibre, resin = self.fibre, self.resin
        thickness = self.thickness
        if thickness is None:
            thickness = ply_thickness(
                self.faw, resin_content, fibre.density, resin.density
            )
        Vf = self.faw / fibre.density / thickness
        mass = areal_mass(self.faw, resin_content)

        def measured_or(value: float | None, derived: float) -> float:
            return derived if value is None else value

        G_resin = resin.shear_modulus
        return Ply(
            thickness=thickness,
            areal_mass=mass,
            Vf=Vf,
            density=mass / thickness,
            E1=measured_or(self.E1, mixture(fibre.E1, resin.modulus, Vf)),
            E2=measured_or(self.E2, halpin_tsai(fibre.E2, resin.modulus, Vf, 2.0)),
            G12=measured_or(self.G12, halpin_tsai(fibre.G12, G_resin, Vf, 1.0)),
            nu12=measured_or(self.nu12, mixture(fibre.nu12, resin.poisson, Vf)),
            strain_tension=self.strain_tension,
            strain_compression=self.strain_compression,
            strain_transverse=self.strain_transverse,
            strain_transverse_compression=measured_or(
                self.strain_transverse_compression,
                TRANSVERSE_RATIO * self.strain_transverse,
            ),
            strain_shear=self.strain_shear,
            expansion_along=measured_or(self.expansion_along, EXPANSION_ALONG),
            expansion_across=measured_or(self.expansion_across, EXPANSION_ACROSS),
        )
