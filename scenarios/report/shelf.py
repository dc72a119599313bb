"""What does a page say of the shelf: every stack in one line, how robust each is, and its frontier?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from scenarios.report.frontier_page import frontier_section
from scenarios.report.page import Row, Section, Table, Text
from scenarios.studies import robustness, shelf


def shelf_sections(data: Mapping[str, Any]) -> list[Section]:
    """Return the sections for those of the questions that were asked.

    Parameters
    ----------
    data : mapping
        What the study prints with ``--json``.
    """
    sections = []
    if "shelf" in data:
        rows = [Row(shelf.shelf_cells(row)) for row in data["shelf"]]
        sections.append(Section("The shelf compared", [Text(shelf.NOTE), Table(shelf.HEAD, rows, left=3)]))
    if "robustness" in data:
        rows = [Row(robustness.robustness_cells(row)) for row in data["robustness"]]
        head = robustness.robustness_head()
        sections.append(
            Section("How robust each stack is", [Text(robustness.NOTE), Table(head, rows, left=2)])
        )
    if "frontier" in data:
        sections.append(frontier_section(data["frontier"]))
    return sections
