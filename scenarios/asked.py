"""How is one part of a study's question put to a store, so that the store remembers who asked?

What is stored without this counts as nobody's, and pruning names it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Set
from typing import Any

from scenarios.answer import Options
from scenarios.campaign import Campaign, Engine, Limits, run_cases
from scenarios.case import Case
from scenarios.progress import progress_bar
from scenarios.remembered import Asking, begin, end
from scenarios.scenario import Scenario
from scenarios.store import Store
from scenarios.window_job import WindowJob


class Asked:
    """One part of what a scenario asks, in one campaign or several.

    Parameters
    ----------
    scenario : Scenario
    store : Store
    options : Options
        Who runs it, whether progress is told, and whether results that are there are forgotten first.
    part : str
        Of the question, with how much of it was asked for, such as "room, 7 steps"; empty for the scenario's
        own cases.
    """

    def __init__(self, scenario: Scenario, store: Store, options: Options, part: str = "") -> None:
        self.scenario, self.store, self.options, self.part = scenario, store, options, part
        self._titles: dict[str, str] = {}
        self._failed: list[Mapping[str, str]] = []
        self._asking: Asking | None = None

    def run(
        self,
        cases: Iterable[Case | WindowJob],
        engine: Engine | None = None,
        limits: Limits | None = None,
    ) -> Campaign:
        """Run cases; those of former calls stay remembered, and what they brought is not forgotten.

        Raises
        ------
        InputError, RunError, KeyboardInterrupt
            As `scenarios.campaign.run_cases`; the store then tells a campaign that did not end. Where no
            scheduler answers the store is left as it was.
        """
        wanted = {case.key: case for case in cases}
        new = wanted.keys() - self._titles.keys()
        if self._asking is None:
            self._see_that_it_can_run(wanted.keys())
        self._titles |= {key: case.title for key, case in wanted.items()}
        self._asking = begin(self.scenario, self.store, self.part, self._titles)
        if self.options.is_fresh:
            self.store.forget(new)
        everything: list[Any] = list(wanted.values())
        with progress_bar(self.options.is_quiet, self.part) as progress:
            campaign = run_cases(everything, self.store, self.options.hands, progress, engine, limits)
        lost = campaign.tally.failed
        self._failed += [
            {"key": k, "case": wanted[k].title, "entry": wanted[k].entry, "why": lost[k]} for k in lost
        ]
        self.end(self._failed)
        return campaign

    def _see_that_it_can_run(self, keys: Set[str]) -> None:
        """Look for the workers before anything is remembered or forgotten, if there is something to run."""
        hands = self.options.hands
        if isinstance(hands, str) and (self.options.is_fresh or keys - self.store.keys()):
            from scenarios.cluster import Cluster

            Cluster(hands).kill()

    def end(self, failed: Iterable[Mapping[str, str]]) -> None:
        """Remember which cases failed, as `run` does by itself, where more count than what has no result."""
        if self._asking is not None:
            end(self._asking, failed, self.store)
