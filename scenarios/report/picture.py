"""How is the picture in README made? ``python -m scenarios.report.picture SCENARIO FILE.svg``"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

from scenarios.answer import Options
from scenarios.load import load_scenario
from scenarios.report.drawing import pens, standalone
from scenarios.report.figures import room_figure
from scenarios.report.page import write
from scenarios.store import Store
from scenarios.studies.study import judge_scenario


def main(arguments: Sequence[str]) -> None:
    """Draw the clearances of a scenario into a file of its own."""
    source, target = arguments
    scenario = load_scenario(source)
    study = judge_scenario(scenario, Store(), Options())
    pen = pens([entry.name for entry in study.entries])
    write(Path(target), standalone(room_figure(study.entries, pen)))


if __name__ == "__main__":
    main(sys.argv[1:])
