"""One file per question."""
