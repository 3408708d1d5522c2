"""The ``frontglass`` command: a thin skin over the library."""

from __future__ import annotations

from frontglass.cli.app import main

__all__ = ["main"]
