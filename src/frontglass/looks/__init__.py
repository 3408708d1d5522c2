"""Looks: named combinations of elements, kept as TOML files."""

from __future__ import annotations

from frontglass.looks.catalogue import catalogue, look_from_text, look_names, read_look
from frontglass.looks.learned_from import LearnedFrom
from frontglass.looks.look import Look
from frontglass.looks.stack import LookStack, stack_from_text

__all__ = [
    "LearnedFrom",
    "Look",
    "LookStack",
    "catalogue",
    "look_from_text",
    "look_names",
    "read_look",
    "stack_from_text",
]
