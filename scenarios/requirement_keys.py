"""Which keys has the requirement of a scenario, and do they fit together?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Literal

from pydantic import Field

from scenarios.requirement import DISTANCE, FACTORED, SHARE, Requirement
from sim.keyfile import FileModel, Lines, place, problem


def _key(meaning: str, **rest: Any) -> Any:
    return Field(description=meaning, **rest)


class RequirementKeys(FileModel):
    """``[requirement]``: one rule at a time."""

    rule: Literal["share_of_unloaded", "factored_deflection", "distance"] = _key(
        "a share of the unloaded clearance must remain under characteristic loads (guidelines); the factored "
        "deflection must leave the blade free (IEC 61400-1); or a distance of your own must remain"
    )
    share: float | None = _key(
        "of the unloaded clearance, rotor turning; 0.3 by the guidelines",
        default=None,
        ge=0.0,
        lt=1.0,
    )
    share_at_rest: float | None = _key(
        "of the unloaded clearance of the feathered blade, for winds with the rotor at rest; 0.05 by the "
        "guidelines",
        default=None,
        ge=0.0,
        lt=1.0,
    )
    material_factor: float | None = _key("gamma_m of the factored deflection", default=None, ge=1.0, le=3.0)
    consequence_factor: float | None = _key(
        "gamma_n of the factored deflection, by component class", default=None, ge=0.9, le=2.0
    )
    distance_m: float | None = _key("that must remain", default=None, ge=0.0, le=100.0)


NEEDS = {
    SHARE: ("share", "share_at_rest"),
    FACTORED: ("material_factor", "consequence_factor"),
    DISTANCE: ("distance_m",),
}
"""The keys of each rule: each needs its own, and may not have another's."""
AT_REST = "share_at_rest"
"""The key that its rule needs only where a wind has the rotor at rest."""


def requirement_problems(
    keys: RequirementKeys, path: Path, lines: Lines, resting: Sequence[str] = ()
) -> Iterator[str]:
    """Yield what is missing for the rule that was chosen, and what belongs to another.

    Parameters
    ----------
    resting : labels of the winds with the rotor at rest
    """
    own = NEEDS[keys.rule]
    for names in NEEDS.values():
        for name in names:
            given = getattr(keys, name)
            if name in own and given is None and (name != AT_REST or resting):
                where = place(path, lines, "requirement")
                why = f" for the rotor at rest of '{resting[0]}'" if name == AT_REST else ""
                yield f"{where}: requirement.{name} is missing; the rule {keys.rule} needs it{why}"
            if name not in own and given is not None:
                sentence = f"is not of the rule {keys.rule}; one rule at a time"
                yield problem(path, lines, f"requirement.{name}", given, sentence)


def make_requirement(keys: RequirementKeys) -> Requirement:
    """Return the rule that checked keys ask for."""
    return Requirement(
        rule=keys.rule,
        share=keys.share or 0.0,
        share_at_rest=keys.share_at_rest or 0.0,
        material_factor=keys.material_factor or 1.0,
        consequence_factor=keys.consequence_factor or 1.0,
        distance=keys.distance_m or 0.0,
    )
