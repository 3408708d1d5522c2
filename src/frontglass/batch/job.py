"""One still of a batch: where it comes from, where it goes, and its name in the record."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Job:
    """One still of a batch.

    Parameters
    ----------
    still : Path
        The still.
    out : Path
        Where it goes.
    name : str
        `out` as seen from the batch's folder, with forward slashes: its key in the manifest.
    """

    still: Path
    out: Path
    name: str
