"""Which sampled windows ended before their time, and what ended them?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sim.interface import ENDED, SENTENCE, Status
from sim.records import Record

LAYERS = (Status.LAYER_RAISED, Status.LAYER_STALLED, Status.LAYER_NOT_FINITE, Status.LAYER_WRONG_SHAPE)
"""Endings that are a layer's own fault, not the plant's."""


@dataclass(frozen=True)
class Ending:
    """One window that ended before its time."""

    status: Status
    time_s: float  #: from the lead's start
    told: str  #: by the layer; empty where the plant ended it
    window: int = 0  #: number of the evaluation

    @property
    def sentence(self) -> str:
        """Say what happened, where and when."""
        when = f"{abs(self.time_s):.2f} s {'after' if self.time_s >= 0.0 else 'before'} the end of settling"
        return f"{SENTENCE[self.status]}, window {self.window}, {when}" + (f": {self.told}" * bool(self.told))


def ending_of(record: Record, lane: int) -> Ending | None:
    """Return what ended a lane; None where it was marched on to its end, touched or running away or not."""
    status = Status(int(record.cases["status"][lane]))
    if status not in ENDED:
        return None
    told = next((f"layer {f.layer} {f.message}" for f in record.faults if f.lane == lane), "")
    return Ending(status, float(record.cases["status_time_s"][lane]), told)


def endings_row(endings: Sequence[Ending]) -> dict[str, Any]:
    """Return what is kept of one stack's windows that ended early: a layer's is told before the plant's."""
    mine = [ending for ending in endings if ending.status in LAYERS]
    first = [*mine, *endings][:1]
    return {
        "ended": len(endings),
        "ended_by_layer": len(mine),
        "ended_first": first[0].sentence if first else "",
    }
