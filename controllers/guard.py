"""Will this blade pass too near, and how much pitch, given when, prevents it?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from controllers.approach import Foreseeing
from controllers.pulsed import Pulsed


@dataclass(frozen=True)
class Guard(Foreseeing, Pulsed):
    """Foresee each blade's coming pass; where it would be too near, pitch that blade away as far as needed.

    Notes
    -----
    Forecast by the latest passes (``foresight``); answer by a pulse that grows with the shortfall
    (``pulsed``); azimuth brought up to now by its age, missing readings as told in ``approach``.

    References
    ----------
    Derived here.
    """

    name: ClassVar[str] = "guard"
