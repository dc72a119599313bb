"""What does the page of a study look like?"""

from __future__ import annotations

from pathlib import Path
from typing import Any


def write_page(page: Path, study: Any, data: Any, store: Any) -> None:
    """Write the page."""
    page.parent.mkdir(parents=True, exist_ok=True)
