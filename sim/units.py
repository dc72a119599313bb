"""Which unit does a key's name end in, and how much is that in SI?

Only files know units other than SI; the name of each key says which (``tilt_deg``, ``rated_power_kW``).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

_DEGREE = math.pi / 180.0

#: ending of a key -> (unit as it is printed, factor to SI); longer endings win
UNITS: Mapping[str, tuple[str, float]] = MappingProxyType(
    {
        "_m": ("m", 1.0),
        "_mm": ("mm", 1e-3),
        "_deg": ("deg", _DEGREE),
        "_rad": ("rad", 1.0),
        "_deg_per_m": ("deg/m", _DEGREE),
        "_deg_s": ("deg/s", _DEGREE),
        "_deg_s2": ("deg/s2", _DEGREE),
        "_per_rad": ("1/rad", 1.0),
        "_rpm": ("rpm", 2.0 * math.pi / 60.0),
        "_Hz": ("Hz", 2.0 * math.pi),
        "_s": ("s", 1.0),
        "_per_s": ("1/s", 1.0),
        "_years": ("years", 365.25 * 86400.0),
        "_m_s": ("m/s", 1.0),
        "_t": ("t", 1e3),
        "_m_s2": ("m/s2", 1.0),
        "_Nm": ("N m", 1.0),
        "_kNm": ("kN m", 1e3),
        "_MNm": ("MN m", 1e6),
        "_kW": ("kW", 1e3),
        "_GPa": ("GPa", 1e9),
        "_kg_m2": ("kg m2", 1.0),
        "_kg_m3": ("kg/m3", 1.0),
        "_kg_per_m": ("kg/m", 1.0),
        "_N_m2": ("N m2", 1.0),
        "_MN_m2": ("MN m2", 1e6),
    }
)


def _ending(key: str) -> str:
    return max((ending for ending in UNITS if key.endswith(ending)), key=len, default="")


def unit_of(key: str) -> tuple[str, float]:
    """Return the unit of a key and its factor to SI; ``("-", 1.0)`` where the name ends in none."""
    return UNITS.get(_ending(key), ("-", 1.0))


def si(key: str, value: float) -> float:
    """Return the value of a key in SI units and radians."""
    return float(value) * unit_of(key)[1]


def bare(key: str) -> str:
    """Return a key without the unit at its end: ``tilt`` for ``tilt_deg``."""
    return key.removesuffix(_ending(key))
