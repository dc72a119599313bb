"""How many strikes a year come of faults: at their onset, and until they are found?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from scenarios.asked import Asked
from scenarios.scenario import Scenario
from scenarios.store import CaseResult
from scenarios.studies.bench import Breakage, bench_of
from scenarios.studies.stratum_rows import SECONDS_PER_HOUR, ended_early
from scenarios.studies.window_runs import doubt_of, run_jobs, stacks_of, stratum_of
from scenarios.window_job import Sampling, Span, WindowJob
from sim.measures.lifetime import HOURS_PER_YEAR
from sim.measures.statistics import Interval
from sim.measures.strata import combine

SMALLEST = 1e-6
"""Probability of a strike by a fault below which a bound is given."""


def fault_rows(
    scenario: Scenario,
    asked: Asked,
    effort: tuple[Span, int],
    bins: Sequence[Any],
) -> tuple[list[dict[str, Any]], list[dict[str, str]]]:
    """Sample windows in which a fault begins; strikes of a year are its rate times those of an occurrence."""
    span, samples = effort
    sampling = Sampling("subset", samples, SMALLEST, scenario.seed)
    jobs = []
    for stack, layers in stacks_of(scenario).items():
        for fault in bench_of(scenario):
            strata = tuple(
                stratum_of(scenario, layers, speeds, middle, doubt_of(scenario), fault)
                for speeds, middle, _ in bins
            )
            jobs.append((stack, fault, WindowJob(strata, span, sampling, stack)))
    found, failed = run_jobs([job for *_, job in jobs], asked)
    rows = []
    for stack, fault, job in jobs:
        if (job.strata[0], stack) in found:
            result = found[job.strata[0], stack][0]
            rows.append(_fault_row(scenario, stack, fault, (job, result), bins))
    return rows, failed


def _fault_row(
    scenario: Scenario,
    stack: str,
    fault: Breakage,
    sampled: tuple[WindowJob, CaseResult],
    bins: Sequence[Any],
) -> dict[str, Any]:
    """Return the strikes of one kind of fault: at its onset, and while it is not found.

    Notes
    -----
    Onset: the probability of a strike in the window in which it begins. Afterwards: the rate of clusters in
    the window's second half times the time until it is found. A strike ends the occurrence, so at most one
    counts.
    """
    job, result = sampled
    lasts = min(scenario.keys["reliability"]["found_after_h"] * SECONDS_PER_HOUR, fault.lasts_s)
    after = max(lasts - job.span.judged, 0.0)
    parts, weights = [], []
    for at, (_, _, hours) in enumerate(bins):
        ends = []
        for onset, late in (
            ("probability", "late_per_s"),
            ("low", "late_low_per_s"),
            ("high", "late_high_per_s"),
        ):
            expected = float(result[onset][at, 0, 0]) + after * float(result[late][at, 0, 0])
            ends.append(min(expected, 1.0))
        parts.append(Interval(ends[0], ends[1], ends[2], 1, "sampled"))
        weights.append(hours / HOURS_PER_YEAR)
    each = combine(parts, weights)
    rate = fault.rate_per_year
    yearly = Interval(rate * each.value, rate * each.low, rate * each.high, each.units, each.method)
    rows = [ended_early(result, at, 0) for at in range(len(bins))]
    ended = max(rows, key=lambda row: row["ended_by_layer"]) | {
        name: sum(row[name] for row in rows) for name in ("ended_early", "ended_by_layer")
    }
    return {
        "stack": stack,
        "fault": fault.name,
        "rate_per_year": rate,
        "each": each,
        "yearly": yearly,
        "evaluations": int(np.sum(result["evaluations"])),
    } | ended
