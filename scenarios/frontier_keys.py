"""Which keys tell what the frontier sweeps, in how many winds, and which passes it makes demands?"""

from __future__ import annotations

from typing import Any

from pydantic import Field

from sim.keyfile import FileModel


def _key(meaning: str, default: Any, **rest: Any) -> Any:
    return Field(default=default, description=meaning, **rest)


class FrontierKeys(FileModel):
    """``[frontier]``: how `study` answers the question ``frontier``."""

    seeds: int = _key("winds of extreme turbulence at each speed, instead of the load case's own", 40, ge=2)
    first_seeds: int = _key(
        "of these are marched first; a setting that misses many demands in them gets no others", 8, ge=1
    )
    demand_share: float = _key(
        "share of the passes without logic that are made demands, by the clearance required",
        0.03,
        gt=0.0,
        lt=0.5,
    )
    margins_m: list[float] = _key(
        "swept, beside a logic's own margin", [0.0, 0.4, 0.8, 1.2, 1.6, 2.0], min_length=1, max_length=20
    )
    amplitudes_deg: list[float] = _key(
        "swept, of the permanent pulse", [1.0, 2.0, 3.0, 4.0, 5.0], min_length=2, max_length=20
    )
