"""What did every case and every pass of a scenario bring, in one file for other tools?"""

from __future__ import annotations

from typing import Any

from scenarios.answer import Answer, ExitCode, Options, counted
from scenarios.scenario import Scenario
from scenarios.store import Store
from scenarios.studies.study import heading, judge_scenario
from scenarios.studies.telling import shortened


def run(scenario: Scenario, options: Options) -> Answer:
    """March what the store does not hold, and write everything as NetCDF.

    Parameters
    ----------
    scenario : Scenario
    options : Options

    Returns
    -------
    Answer
        With exit code 3 where cases failed, else 0: nothing is judged.

    Raises
    ------
    InputError, RunError
        As `scenarios.campaign.run_cases`; the file cannot be written.
    """
    from scenarios.dataset import make_dataset, write_dataset
    from scenarios.report.page import prepare

    prepare(options.out)
    study = judge_scenario(scenario, Store(options.store), options)
    file = options.out / f"{scenario.name}.nc"
    campaign = study.campaign
    dataset = make_dataset(scenario, campaign.results, campaign.tally.failed)
    write_dataset(dataset, file)
    data = heading(study) | {
        "file": str(file),
        "size_bytes": file.stat().st_size,
        "dimensions": {str(name): int(size) for name, size in dataset.sizes.items()},
        "variables": {str(name): v.attrs.get("units", "") for name, v in dataset.variables.items()},
    }
    return Answer(data, _text(data), ExitCode.PARTLY_FAILED if study.failed else ExitCode.HOLDS)


def _text(data: dict[str, Any]) -> str:
    sizes = data["dimensions"]
    parts = [
        f"{counted(sizes['case'], 'case')} with {counted(sizes['pass'], 'pass')} and "
        f"{len(data['variables'])} variables, {data['size_bytes'] / 1e6:.1f} MB: {data['file']}"
    ]
    if data["failed_cases"]:
        lines = [f"{row['case']}: {row['why']}" for row in data["failed_cases"]]
        parts.append("\n".join(["Failed cases:", *shortened(lines)]))
    parts.append(f"read it with scenarios.reading.open_results({data['file']!r})")
    return "\n".join(parts)
