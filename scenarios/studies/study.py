"""Does the candidate hold the required clearance, how often was its logic right, and what does it cost?"""

from __future__ import annotations

import logging
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from scenarios.answer import Answer, ExitCode, Options, to_json
from scenarios.asked import Asked
from scenarios.campaign import Campaign
from scenarios.provenance import origin
from scenarios.scenario import Scenario
from scenarios.store import Store
from scenarios.studies.assess import Assessment, assess
from scenarios.studies.cost import cost_data, cost_text, costs_of
from scenarios.studies.extreme import extreme_data
from scenarios.studies.featured import find_features
from scenarios.studies.frontier import frontier
from scenarios.studies.frontier_text import frontier_text
from scenarios.studies.gather import has_ended, trouble_of
from scenarios.studies.robustness import robustness, robustness_text
from scenarios.studies.ruling import governing_data, requirement_data
from scenarios.studies.shelf import shelf_rows, shelf_text
from scenarios.studies.telling import entry_data, text_of, verdict_sentence

log = logging.getLogger("wideberth")


@dataclass(frozen=True)
class Study:
    """A campaign that was run and judged."""

    scenario: Scenario
    campaign: Campaign
    entries: Sequence[Assessment]
    failed: Sequence[dict[str, str]]  #: cases that cannot be judged: ``key``, ``case``, ``entry``, ``why``
    flagged: Sequence[dict[str, str]]  #: cases that ran to their end with something amiss
    failed_count: int  #: distinct cases; entries that share one list it each

    @property
    def code(self) -> ExitCode:
        """How the command ends."""
        if self.failed:
            return ExitCode.PARTLY_FAILED
        return ExitCode.HOLDS if self.entries[-1].verdict.holds else ExitCode.DOES_NOT_HOLD


def run(scenario: Scenario, options: Options) -> Answer:
    """Run what a scenario asks, judge it, and write the page.

    Parameters
    ----------
    scenario : Scenario
    options : Options

    Returns
    -------
    Answer
        With exit code 3 where cases failed, 1 where the candidate (the last entry) does not hold, else 0.

    Raises
    ------
    InputError, RunError
        As `scenarios.campaign.run_cases`; the page cannot be written.
    """
    return answer(scenario, options)


def answer(scenario: Scenario, options: Options, *, times_all: bool = False) -> Answer:
    """Answer as `run` does; ``times_all`` times every stack, not only those with a layer of one's own."""
    from scenarios.report.costs import cost_sections
    from scenarios.report.page import prepare, render, write
    from scenarios.report.sections import study_page
    from scenarios.report.shelf import shelf_sections

    prepare(options.out)
    store = Store(options.store)
    study = judge_scenario(scenario, store, options)
    page = options.out / f"{scenario.name}.html"
    times_all = times_all or "shelf" in scenario.questions
    costs, untimed = costs_of(scenario, study.failed, all_stacks=times_all)
    data = study_data(study, page) | {"cost": cost_data(costs)}
    told = [text_of(study.entries, data)]
    if "shelf" in scenario.questions:
        lines = shelf_rows(study.entries, cost_data(costs))
        data["shelf"] = lines
        told.append(shelf_text(lines))
    if "robustness" in scenario.questions:
        changes = robustness(scenario, study.entries, store, options)
        data["robustness"] = changes
        told.append(robustness_text(changes))
    if "frontier" in scenario.questions:
        swept = frontier(scenario, study.entries, store, options)
        data["frontier"] = swept
        told.append(frontier_text(swept))
    composed = study_page(scenario, study.entries, find_features(study.entries, store), data)
    sections = [*composed.sections, *shelf_sections(data), *cost_sections(data["cost"])]
    write(page, render(replace(composed, sections=sections)))
    write(page.with_suffix(".json"), to_json(data) + "\n")
    told.append(cost_text(costs, untimed))
    return Answer(data, "\n\n".join(part for part in told if part), study.code)


def judge_scenario(scenario: Scenario, store: Store, options: Options) -> Study:
    """Run the cases that the store does not hold, and judge every entry."""
    _tell_of_other_code(store)
    asked = Asked(scenario, store, options)
    campaign = asked.run(scenario.cases)
    failed, flagged, keys = [], [], set()
    cut_out = {entry.name: entry.design.machine.cut_out for entry in scenario.entries}
    for case in scenario.cases:
        result = campaign.results.get(case.key)
        if result is None:
            why = campaign.tally.failed.get(case.key, "no result")
        else:
            is_storm = case.wind.speed > cut_out[case.entry] and not case.run.at_rest
            why = trouble_of(result, is_storm)
        if why:
            is_lost = result is None or has_ended(result)
            row = {"key": case.key, "case": case.title, "entry": case.entry, "why": why}
            (failed if is_lost else flagged).append(row)
            keys |= {case.key} if is_lost else set()
    asked.end(failed)
    return Study(scenario, campaign, assess(scenario, campaign.results), failed, flagged, len(keys))


def _tell_of_other_code(store: Store) -> None:
    """Say so where a store holds results, and none of them is of this code."""
    others = [name for name in store.others() if any((store.root / name).glob("*.npz"))]
    if others and not store.indexes():
        told = "%s: holds results of other code (%s) and none of this; they are kept apart, all is computed"
        log.warning(told, store.root, ", ".join(others))


def heading(study: Study) -> dict[str, Any]:
    """Return what every answer from a judged campaign tells of its origin and its cases."""
    return origin(study.scenario) | {
        "turbine": study.scenario.reference.design.name,
        "cases": study.campaign.tally.counts() | {"failed": study.failed_count},
        "failed_cases": study.failed,
        "flagged_cases": study.flagged,
    }


def study_data(study: Study, page: Path) -> dict[str, Any]:
    """Return the study for machines; units in the names."""
    scenario, candidate = study.scenario, study.entries[-1]
    return heading(study) | {
        "title": scenario.title,
        "questions": list(scenario.questions),
        "page": str(page),
        "verdict": verdict_sentence(study.entries, scenario.requirement),
        "holds": candidate.verdict.holds,
        "requirement": requirement_data(scenario.requirement, candidate),
        "governing_by_load_case": governing_data(candidate),
        "controllers": [entry_data(entry) for entry in study.entries],
        "extreme": extreme_data(scenario, study.entries) if "extreme" in scenario.questions else [],
    }
