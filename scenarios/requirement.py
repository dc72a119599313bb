"""What clearance must remain, by which rule, and how is that said?

Every rule comes down to a share of the unloaded clearance: the guidelines' share itself; 1 - 1/gamma where
the factored deflection must leave the blade free; a distance over the unloaded clearance. With the rotor at
rest the unloaded clearance is that of the feathered blade, and the guidelines' share is another.
"""

from __future__ import annotations

from dataclasses import dataclass

from sim.errors import InputError
from sim.measures.clearance import required_by_factors, required_by_share

SHARE, FACTORED, DISTANCE = "share_of_unloaded", "factored_deflection", "distance"
NORMAL, ABNORMAL = 1.35, 1.1
"""Partial factors of loads, IEC 61400-1 (from memory): normal load cases, and those with a fault."""


@dataclass(frozen=True)
class Requirement:
    """One rule, with what it needs; the fields of the other rules are not used."""

    rule: str
    share: float = 0.0  #: of the unloaded clearance [-]
    share_at_rest: float = 0.0  #: of that of the feathered blade, rotor at rest [-]
    material_factor: float = 1.0  #: gamma_m [-]
    consequence_factor: float = 1.0  #: gamma_n [-]
    distance: float = 0.0  #: [m]

    def load_factor(self, has_fault: bool, given: float | None) -> float:
        """Return the partial factor of a load case: the user's own, or that of its class.

        Parameters
        ----------
        has_fault : bool
        given : float [-], None where the scenario says nothing
        """
        if self.rule != FACTORED:
            return 1.0
        if given is not None:
            return given
        return ABNORMAL if has_fault else NORMAL

    def share_of(self, unloaded: float, load_factor: float, at_rest: bool = False) -> float:
        """Return what share of the unloaded clearance must remain.

        Parameters
        ----------
        unloaded : float [m] - with the rotor at rest that of the feathered blade
        load_factor : float [-]
        at_rest : bool

        Returns
        -------
        float [-]

        Raises
        ------
        InputError
            The distance is not below the unloaded clearance, or the product of the factors is below 1.
        """
        if self.rule == SHARE:
            return required_by_share(1.0, self.share_at_rest if at_rest else self.share)
        if self.rule == DISTANCE:
            if self.distance >= unloaded:
                raise InputError(
                    f"requirement.distance_m = {self.distance:g}; must be below the unloaded {unloaded:.2f} m"
                )
            return self.distance / unloaded
        return required_by_factors(1.0, load_factor, self.material_factor, self.consequence_factor)

    def load_factor_in(self, unloaded: float, required: float) -> float:
        """Return the partial factor of loads that asked for a required clearance (both [m])."""
        return unloaded / (unloaded - required) / (self.material_factor * self.consequence_factor)

    def words(self, unloaded: float, required: float, at_rest: bool = False) -> str:
        """Say where a required clearance comes from (both [m])."""
        where = f"{unloaded:.2f} m" + (" with the blades at feather" if at_rest else "")
        if self.rule == SHARE:
            share = self.share_at_rest if at_rest else self.share
            return f"{100.0 * share:g} % of the unloaded {where}, load factor 1"
        if self.rule == DISTANCE:
            return f"a distance of the user's own, load factor 1; unloaded {where}"
        load = self.load_factor_in(unloaded, required)
        return (
            f"factored deflection from the unloaded {where}, factors of load {load:.4g}, material "
            f"{self.material_factor:g} and consequence {self.consequence_factor:g}, in all "
            f"{load * self.material_factor * self.consequence_factor:.4g}"
        )
