"""One picture of a batch: where it comes from, where it goes, and its name in the record."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Job:
    """One picture of a batch: a still through one choice of looks."""

    still: Path
    out: Path
    name: str
    """`out` as seen from the batch's folder, with forward slashes: its key in the manifest."""
    choice: int = 0
