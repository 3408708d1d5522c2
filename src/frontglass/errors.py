"""What can go wrong, in four types, each with one line that says what to do."""

from __future__ import annotations


class FrontglassError(Exception):
    """Anything frontglass reports to its user; the text is one line."""


class ParameterError(FrontglassError, ValueError):
    """A value that breaks a rule.

    Parameters
    ----------
    name : str
        The parameter, with its unit suffix.
    rule : str
        What it must be, as words that follow "must be".
    got : object
        The offending value.
    hint : str, optional
        One more sentence: why, or what to do.
    """

    def __init__(self, name: str, rule: str, got: object, hint: str = "") -> None:
        self.name = name
        self.rule = rule
        self.got = got
        self.hint = hint
        super().__init__(" ".join(filter(None, (f"{name} must be {rule}, got {got!r}.", hint))))


class LookError(FrontglassError):
    """A look that cannot be found, read or rendered."""


class PictureFileError(FrontglassError):
    """A picture file that cannot be read or written."""


class AccuracyWarning(UserWarning):
    """The answer is usable but less exact than usual; the text says by how much."""
