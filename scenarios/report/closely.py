"""What does the page say of single passes: the smallest of the governing case, and a saved one?"""

from __future__ import annotations

from collections.abc import Mapping

from scenarios.report.drawing import Pen
from scenarios.report.moment import azimuth_figure, pass_figure, side_figure
from scenarios.report.page import Figure, Section, Text
from scenarios.studies.featured import Featured, Features

TIME = (
    "The same pass in time. Dots are the least clearances of successive blades; the thin curves are the "
    "clearances of each blade while it is near the tower."
)
SIDE = (
    "Tower and blade from the side at the instant of least distance, deflections to scale; the wind "
    "blows from the left. The dashed outline is the unloaded blade at fine pitch."
)


def pass_sections(features: Features, pen: Mapping[str, Pen]) -> list[Section]:
    """Return a section for each pass that is shown closely; none where the candidate has no pass."""
    if features.worst is None:
        return []
    sections = [_worst_section(features, pen)]
    if features.saved is not None:
        sections.append(_saved_section(features.saved, pen))
    return sections


def _saved_section(features: Features, pen: Mapping[str, Pen]) -> Section:
    saved, twin = features.worst, features.twin
    if saved is None:
        return Section("One pass that the logic saved")
    beside = f" {twin.entry.name}, in the same wind, is drawn beside it." if twin is not None else ""
    note = (
        f"A pass that {saved.entry.name} saved: {_case_words(saved)}, blade {saved.blade + 1}, "
        f"{saved.time_s:.2f} s into the judged time. {saved.clearance:.2f} m were left; marched on from the "
        f"action without the logic, it leaves {saved.clearance_without:.2f} m, less than the "
        f"{saved.entry.gathered.required:.2f} m that must remain.{beside}"
    )
    return Section(
        "One pass that the logic saved",
        [
            Text(note),
            Figure(pass_figure(features, pen, "saved-moment"), TIME),
            Figure(side_figure(features, pen, "saved-side"), SIDE),
        ],
    )


def _worst_section(features: Features, pen: Mapping[str, Pen]) -> Section:
    worst, twin = features.worst, features.twin
    if worst is None:
        return Section("One pass closely")
    beside = (
        f" The same wind without the logic is shown beside it ({twin.entry.name}: {twin.clearance:.2f} m)."
        if twin is not None
        else ""
    )
    note = (
        f"The smallest pass of the governing case of {worst.entry.name}: {_case_words(worst)}, blade "
        f"{worst.blade + 1}, {worst.time_s:.2f} s into the judged time, {worst.clearance:.2f} m left."
        f"{_saved_words(worst)}{beside}"
    )
    azimuth = (
        "Clearance of the same blade against azimuth, for every entry in the same wind at the same time. The "
        "dot is the least distance that the march found between its steps."
    )
    return Section(
        "One pass closely",
        [
            Text(note),
            Figure(pass_figure(features, pen), TIME),
            Figure(side_figure(features, pen), SIDE),
            Figure(azimuth_figure(features, pen), azimuth),
        ],
    )


def _saved_words(item: Featured) -> str:
    if not item.clearance_without < item.entry.gathered.required <= item.clearance:
        return ""
    return f" The logic saved it: without the action {item.clearance_without:.2f} m would have been left."


def _case_words(item: Featured) -> str:
    what = "phase" if item.case.is_event else "seed"
    return f"{item.case.load_case} at {item.case.wind.speed:g} m/s, {what} {item.case.number}"
