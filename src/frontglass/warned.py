"""Accuracy warnings gathered, so that they can be shown where the result is."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager

from frontglass.errors import AccuracyWarning


@contextmanager
def gathered_warnings() -> Iterator[list[str]]:
    """Yield a list that holds, afterwards, each AccuracyWarning raised within, once.

    Other warnings go their usual way.
    """
    texts: list[str] = []
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always", AccuracyWarning)
        yield texts
    for warning in caught:
        if not issubclass(warning.category, AccuracyWarning):
            warnings.warn_explicit(
                warning.message, warning.category, warning.filename, warning.lineno
            )
        elif str(warning.message) not in texts:
            texts.append(str(warning.message))
