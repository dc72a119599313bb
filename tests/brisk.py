"""A study small enough for tests, run once in a process; shared by the tests of the study and of its page."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from scenarios.answer import Answer, Options
from scenarios.load import load_scenario
from scenarios.scenario import Scenario
from scenarios.store import Store
from scenarios.studies import study

FILE = Path(__file__).resolve().parent / "data" / "brisk-study.toml"


@dataclass(frozen=True)
class Brisk:
    """The scenario, its answer, and what was judged."""

    scenario: Scenario
    options: Options
    store: Store
    answer: Answer
    judged: study.Study
    page: str

    def results(self, entry: str) -> list[Any]:
        """Return the raw results of an entry's cases, in the order of the file."""
        cases = [case for case in self.scenario.cases if case.entry == entry]
        return [(case, self.judged.campaign.results[case.key]) for case in cases]


@lru_cache(maxsize=1)
def brisk() -> Brisk:
    """Run the small study in this process."""
    folder = Path(tempfile.mkdtemp(prefix="wideberth-test-"))
    scenario = load_scenario(FILE)
    options = Options(out=folder / "out", store=folder / "store", jobs=0, is_quiet=True)
    answer = study.run(scenario, options)
    store = Store(folder / "store")
    judged = study.judge_scenario(scenario, store, options)
    page = Path(answer.data["page"]).read_text(encoding="utf-8")
    return Brisk(scenario, options, store, answer, judged, page)
