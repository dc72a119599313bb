"""Does a user's layer of logic keep the contract, and where it does not, on which smallest example?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from controllers.registry import find, find_class
from controllers.vetting import CLAUSES, ClauseResult, vet
from scenarios.answer import Answer, ExitCode


def run(layer: str) -> Answer:
    """Return the contract check of a layer.

    Parameters
    ----------
    layer : name of one of ours, or ``path.py:Class``

    Returns
    -------
    Answer
        With exit code 1 where a clause is broken or was not tried, else 0.

    Raises
    ------
    InputError
        There is no such layer, or it cannot be made with its default parameters.
    """
    find_class(layer)
    results = vet(lambda: find(layer))
    untried = [clause for clause in CLAUSES if clause not in {result.clause for result in results}]
    passed = all(result.passed for result in results) and not untried
    data = {
        "layer": layer,
        "keeps_the_contract": passed,
        "clauses": [_row(result) for result in results],
        "not_tried": untried,
    }
    return Answer(data, _text(layer, results, untried), ExitCode.HOLDS if passed else ExitCode.DOES_NOT_HOLD)


def _row(result: ClauseResult) -> dict[str, Any]:
    return {
        "clause": result.clause,
        "passed": result.passed,
        "message": result.message,
        "example": result.example,
    }


def _text(layer: str, results: Sequence[ClauseResult], untried: Sequence[str]) -> str:
    lines = []
    for result in results:
        told = f": {result.message}" if result.message else ""
        lines.append(f"{'kept  ' if result.passed else 'BROKEN'}  it {result.clause}{told}")
        if result.example and not result.passed:
            lines.append(f"        smallest example: {result.example}")
    lines += [f"not tried: it {clause}" for clause in untried]
    broken = sum(not result.passed for result in results)
    verdict = f"breaks {broken} of {len(CLAUSES)} clauses" if broken else "keeps the contract"
    if untried and not broken:
        verdict = "is too slow to be tried on every clause"
    return "\n".join([f"{layer} {verdict}.", "", *lines])
