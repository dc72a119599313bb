"""Does a layer keep the contract, clause by clause, and where it does not, on which smallest example?"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from controllers import clauses, independence
from controllers.clauses import Factory
from controllers.trials import BrokenClauseError, LayerRaisedError, StalledError

PATIENCE_S, WITH_THE_SLOW_S = 60.0, 10.0
"""A layer whose vetting takes longer is not tried on the rest; less for one known as slow."""


@dataclass(frozen=True)
class ClauseResult:
    """One clause of the contract: passed or not, what is wrong, and the smallest example found."""

    clause: str
    passed: bool
    message: str = ""
    example: str = ""


def vet(factory: Factory) -> list[ClauseResult]:
    """Check a layer against the whole contract.

    Parameters
    ----------
    factory : callable
        Makes the layer afresh, e.g. ``lambda: registry.find("my.py:EarlyNudge")``.

    Returns
    -------
    results : list of ClauseResult
        One per clause of ``CLAUSES`` that was tried, in that order. Not tried is what comes after a clause
        that the rest rests on, after a call that never returned, or after ``PATIENCE_S``; clauses that
        compare runs where no two are alike; and clauses on the way to which the layer raises, where that
        has been told.
    """
    results: list[ClauseResult] = []
    broken: set[str] = set()
    begun = time.monotonic()
    for clause, check in CLAUSES.items():
        patience = WITH_THE_SLOW_S if QUICK in broken else PATIENCE_S
        if (clause in COMPARING and MEMORY in broken) or time.monotonic() - begun > patience:
            continue
        try:
            results.append(ClauseResult(clause, True, check(factory)))
            continue
        except BrokenClauseError as error:
            results.append(ClauseResult(clause, False, error.message, error.example))
        except LayerRaisedError as error:
            if RETURNS in broken:
                continue
            results.append(ClauseResult(clause, False, error.what, error.when))
        except StalledError as error:
            results.append(ClauseResult(clause, False, str(error)))
            break
        except (Exception, SystemExit) as error:
            if RETURNS in broken:
                continue
            results.append(ClauseResult(clause, False, f"raised {type(error).__name__}: {error}"))
        broken.add(clause)
        if clause in ESSENTIAL:
            break
    return results


CLAUSES: Mapping[str, Callable[[Factory], str]] = {
    "says what it is": clauses.says_what_it_is,
    "returns from every call": clauses.returns_from_every_call,
    "returns right shapes": clauses.returns_right_shapes,
    "is quick enough": independence.is_quick_enough,
    "stays finite": clauses.stays_finite,
    "stays finite at the ends of its parameters": clauses.stays_finite_at_the_ends_of_its_parameters,
    "asks for what a machine can do": clauses.asks_for_what_a_machine_can_do,
    "passes a stop on": clauses.passes_a_stop_on,
    "recovers from lost readings": clauses.recovers_from_lost_readings,
    "keeps its memory in the state": independence.keeps_its_memory_in_the_state,
    "leaves its inputs alone": independence.leaves_its_inputs_alone,
    "treats lanes apart": independence.treats_lanes_apart,
    "keeps nan in its lane": independence.keeps_nan_in_its_lane,
    "reads only what it needs": independence.reads_only_what_it_needs,
    "asks no clock": independence.asks_no_clock,
    "draws no random numbers": independence.draws_no_random_numbers,
    "touches no files": independence.touches_no_files,
    "pickles": independence.pickles,
}
ESSENTIAL = ("says what it is", "returns right shapes")
RETURNS, QUICK, MEMORY = "returns from every call", "is quick enough", "keeps its memory in the state"
COMPARING = ("treats lanes apart", "keeps nan in its lane", "reads only what it needs", "pickles")
"""Clauses that compare runs, and tell nothing of a layer that never runs twice alike."""
