"""Named set-ups of the bench: the usual masses, clamps and couples of the trade.

Laboratories measure one shaft at different lengths and loads, and then tell different
numbers of it. A set-up is a handful of values of `Bench` under a name, so that a design
or a spec can say ``setup = ["frequency-driver", "torque-1040"]``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

from model.errors import suggestion

#: Keys of `Bench` that say the same thing in two ways, so only one can be meant.
_RIVALS: Final = (("torque_clamp", "torque_clamp_at"),)

_ARTICLE = "trade article on shaft testing"
_NOTE = "trade note on shaft testing"


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """Values of the bench that go together, and where they come from."""

    name: str  #: as a file says it
    label: str  #: what it is, in a few words
    source: str  #: where it comes from
    mark: Literal["read", "from memory", "common practice"]  #: how well that is known
    bench: Mapping[str, float]  #: fields of `Bench` [SI]


def _setup(
    name: str,
    label: str,
    source: str,
    mark: Literal["read", "from memory", "common practice"],
    **bench: float,
) -> Setup:
    return Setup(
        name=name,
        label=label,
        source=source,
        mark=mark,
        bench=MappingProxyType(bench),
    )


#: All set-ups, by name.
SETUPS: Final[Mapping[str, Setup]] = MappingProxyType(
    {
        setup.name: setup
        for setup in (
            _setup(
                "frequency-driver",
                "196 g at the tip, for a driver",
                _ARTICLE,
                "read",
                tip_mass=0.196,
            ),
            _setup(
                "frequency-fairway",
                "210 g at the tip, for a fairway wood",
                _ARTICLE,
                "read",
                tip_mass=0.210,
            ),
            _setup(
                "frequency-iron",
                "260 g at the tip, for an iron",
                _ARTICLE,
                "read",
                tip_mass=0.260,
            ),
            _setup(
                "frequency-205-127",
                "205 g at the tip, last 5 in of the butt clamped",
                "usual set-up of frequency meters",
                "from memory",
                tip_mass=0.205,
                frequency_clamp=0.127,
            ),
            _setup(
                "frequency-205-178",
                "205 g at the tip, last 7 in of the butt clamped",
                "usual set-up of frequency meters in Japan",
                "from memory",
                tip_mass=0.205,
                frequency_clamp=0.178,
            ),
            _setup(
                "clamp-127",
                "last 5 in of the butt clamped in the frequency test",
                "usual set-up of frequency meters",
                "from memory",
                frequency_clamp=0.127,
            ),
            _setup(
                "clamp-178",
                "last 7 in of the butt clamped in the frequency test",
                "usual set-up of frequency meters in Japan",
                "from memory",
                frequency_clamp=0.178,
            ),
            _setup(
                "torque-1040",
                "clamp at 1040 mm from the tip, couple on the last 40 mm",
                _ARTICLE,
                "read",
                torque_clamp_at=1.040,
                torque_grip=0.040,
            ),
            _setup(
                "torque-127",
                "last 5 in of the butt clamped, couple on the tip",
                _NOTE,
                "read",
                torque_clamp=0.127,
            ),
            _setup(
                "torque-825",
                "clamp at 825 mm from the tip, couple on the last 40 mm",
                "shaft patents",
                "from memory",
                torque_clamp_at=0.825,
                torque_grip=0.040,
            ),
            _setup(
                "couple-1-lbf-ft",
                "couple of 1 lbf ft",
                "background of US patent 5,971,865",
                "read",
                torque_moment=1.355817948331,
            ),
            _setup(
                "couple-13.9-kgf-cm",
                "couple of 13.9 kgf cm",
                "shaft patents",
                "common practice",
                torque_moment=13.9 * 0.0980665,
            ),
            _setup(
                "profile-200",
                "EI profile over 200 mm under 20 kgf, from 130 mm every 100 mm",
                "US patent 7,427,240",
                "from memory",
                profile_span=0.200,
                profile_load=20.0 * 9.80665,
                profile_first=0.130,
                profile_step=0.100,
            ),
        )
    }
)


def setup_overrides(names: Sequence[str]) -> dict[str, float]:
    """Values of the bench that some set-ups ask for together.

    Parameters
    ----------
    names : sequence of str
        Names of set-ups. [-]

    Returns
    -------
    overrides : dict
        By field of `Bench`. [SI]

    Raises
    ------
    ValueError
        With every name that is not known, and every value on which two of them
        differ.

    Examples
    --------
    >>> setup_overrides(["frequency-driver", "clamp-178"])
    {'tip_mass': 0.196, 'frequency_clamp': 0.178}
    """
    known = [SETUPS[name] for name in dict.fromkeys(names) if name in SETUPS]
    wrong = [
        f"no such set-up as '{name}'. {suggestion(name, SETUPS)}"
        for name in dict.fromkeys(names)
        if name not in SETUPS
    ]
    found: dict[str, float] = {}
    set_by: dict[str, str] = {}
    for setup in known:
        for key, value in setup.bench.items():
            if key in found and found[key] != value:
                wrong.append(_both(set_by[key], setup.name, key))
            others = {name for pair in _RIVALS if key in pair for name in pair} - {key}
            wrong += [
                f"'{set_by[other]}' sets {other} and '{setup.name}' {key}, which say "
                "the same thing. Name one of them."
                for other in sorted(others & set_by.keys())
            ]
            found.setdefault(key, value)
            set_by.setdefault(key, setup.name)
    if wrong:
        raise ValueError(" ".join(wrong))
    return found


def _both(first: str, second: str, key: str) -> str:
    return f"'{first}' and '{second}' set {key} differently. Name one of them."
