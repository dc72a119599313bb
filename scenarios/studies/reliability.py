"""What does the logic save, miss and harm; what do faults make of it; how likely is a strike?"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from scenarios.answer import Answer, ExitCode, Options, to_json
from scenarios.provenance import origin
from scenarios.scenario import Scenario
from scenarios.store import Store
from scenarios.studies import matrix, odds, room
from scenarios.studies.calibration import calibration_text, run_calibration
from scenarios.studies.featured import plain_twin
from scenarios.studies.integrity import integrity_data, integrity_text, tolerable_of
from scenarios.studies.ledger import ledger_data, ledger_text, needless_travel
from scenarios.studies.odds_telling import odds_data, odds_text
from scenarios.studies.replay import write_replays
from scenarios.studies.study import judge_scenario
from scenarios.studies.window_runs import speed_bins
from scenarios.studies.worksheet import worksheet
from sim.errors import InputError

MANY = 16
"""Runs that failed, of which the text tells at most."""
PARTS = ("ledger", "faults", "room", "odds", "integrity")


@dataclass
class _Asked:
    """What every part works on, and what it leaves."""

    scenario: Scenario
    store: Store
    options: Options
    is_quick: bool
    data: dict[str, Any]
    texts: list[str]
    failed: list[dict[str, str]]
    does_hold: bool = True
    odds: odds.Odds | None = None


def run(scenario: Scenario, options: Options, is_quick: bool = False, only: str | None = None) -> Answer:
    """Answer the parts that are asked, all where none is named, and write the page.

    Parameters
    ----------
    scenario : Scenario
    options : Options
    is_quick : bool
        Few samples: minutes instead of an hour; intervals are as honest, and wider.
    only : str, optional
        One of `PARTS`.

    Returns
    -------
    Answer
        With exit code 3 where anything failed; 1 where the candidate does not hold the requirement in the
        ledger's cases, or its odds of a strike are not shown to be below what is tolerable; else 0.

    Raises
    ------
    InputError, RunError
        As `scenarios.campaign.run_cases`; the winds that a part needs are not there; a file cannot be
        written.
    """
    from scenarios.report.page import prepare, render, write
    from scenarios.report.reliability import reliability_page

    prepare(options.out)
    if only in (None, "odds", "integrity"):
        speed_bins(scenario)  # refuses a scenario without normal turbulence before anything is marched
    if only in ("faults", "room") and not any(c.is_sound_turbulence for c in scenario.cases):
        raise InputError(
            f"{scenario.path}: no turbulence in which the rotor turns; `--only {only}` marches "
            "there (`--only ledger` needs none)"
        )
    asked = _Asked(scenario, Store(options.store), options, is_quick, {}, [], [])
    for part in PARTS if only is None else (only,):
        _ANSWERS[part](asked)
    page = options.out / f"{scenario.name}-reliability.html"
    data = _head(asked) | asked.data | {"failed": asked.failed, "page": str(page)}
    write(page, render(reliability_page(scenario, data)))
    write(page.with_suffix(".json"), to_json(data) + "\n")
    code = ExitCode.HOLDS if asked.does_hold else ExitCode.DOES_NOT_HOLD
    text = "\n\n".join([*asked.texts, *_trouble(asked), f"page: {page}"])
    return Answer(data, text, ExitCode.PARTLY_FAILED if asked.failed else code)


def _head(asked: _Asked) -> dict[str, Any]:
    scenario = asked.scenario
    return origin(scenario) | {
        "turbine": scenario.candidate.design.name,
        "candidate": scenario.candidate.name,
        "stack": [layer.name for layer in scenario.candidate.stack],
        "setting": "quick" if asked.is_quick else "thorough",
        "assumed": dict(scenario.keys["reliability"]),
    }


def _trouble(asked: _Asked) -> list[str]:
    lines = list(dict.fromkeys(f"{item['case']}: {item['why']}" for item in asked.failed))
    more = [f"and {len(lines) - MANY} more, see --json"] * (len(lines) > MANY)
    return ["\n".join(["Failed:", *lines[:MANY], *more])] if lines else []


def _ledger(asked: _Asked) -> None:
    study = judge_scenario(asked.scenario, asked.store, asked.options)
    rows = ledger_data(asked.scenario, study.entries)
    for row, entry in zip(rows, study.entries, strict=True):
        twin = plain_twin([*study.entries, entry]) if entry.has_logic else None
        row["needless_travel_deg_per_hour"] = needless_travel(entry, twin)
    write_replays(asked.scenario, rows, asked.options.out)
    asked.data["ledger"] = rows
    asked.texts.append(ledger_text(rows))
    if rows[-1]["has_logic"]:
        limits = (2, 300.0) if asked.is_quick else (100, 600.0)
        told, lost = run_calibration(asked.scenario, asked.store, asked.options, limits)
        rows[-1]["calibration"] = told
        asked.texts.append(calibration_text(rows[-1]["name"], told))
        asked.failed += lost
    asked.failed += study.failed
    asked.does_hold &= study.entries[-1].verdict.holds


def _faults(asked: _Asked) -> None:
    from scenarios.report.page import write

    effort = matrix.QUICK if asked.is_quick else matrix.THOROUGH
    data = matrix.run_matrix(asked.scenario, asked.store, asked.options, effort)
    sheet = asked.options.out / f"{asked.scenario.name}-faults.csv"
    write(sheet, worksheet(asked.scenario, data))
    asked.failed += data.pop("failed_cases")
    asked.data["faults"] = data | {"worksheet": str(sheet)}
    asked.texts.append(f"{matrix.matrix_text(data)}\nworksheet: {sheet}")


def _room(asked: _Asked) -> None:
    effort = room.QUICK if asked.is_quick else room.THOROUGH
    data = room.run_room(asked.scenario, asked.store, asked.options, effort)
    asked.failed += data.pop("failed_cases")
    asked.data["room"] = data
    asked.texts.append(room.room_text(data))


def _sampled(asked: _Asked) -> odds.Odds:
    if asked.odds is None:
        effort = odds.QUICK if asked.is_quick else odds.THOROUGH
        asked.odds = odds.run_odds(asked.scenario, asked.store, asked.options, effort)
        asked.failed += asked.odds.failed
    return asked.odds


def _odds(asked: _Asked) -> None:
    data = odds_data(_sampled(asked), tolerable_of(asked.scenario))
    asked.data["odds"] = data
    asked.texts.append(odds_text(data))
    asked.does_hold &= bool(data["holds"])


def _integrity(asked: _Asked) -> None:
    data = integrity_data(asked.scenario, _sampled(asked))
    asked.data["integrity"] = data
    asked.texts.append(integrity_text(data))


_ANSWERS: Mapping[str, Callable[[_Asked], None]] = {
    "ledger": _ledger,
    "faults": _faults,
    "room": _room,
    "odds": _odds,
    "integrity": _integrity,
}
