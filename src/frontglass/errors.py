"""What can go wrong, in four types, each with one line that says what to do."""

from __future__ import annotations


class FrontglassError(Exception):
    """Anything frontglass reports to its user; the text is one line.

    Examples
    --------
    >>> import frontglass as fg
    >>> try:
    ...     fg.read_picture("nowhere.exr")
    ... except fg.FrontglassError as error:
    ...     print(error)
    nowhere.exr: there is no such file.
    """


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

    Examples
    --------
    >>> import frontglass as fg
    >>> try:
    ...     fg.Veil(veil_share=1.5)
    ... except fg.ParameterError as error:
    ...     print(error.name, error.got, "|", error)
    veil_share 1.5 | veil_share must be in [0, 1), got 1.5.
    """

    def __init__(self, name: str, rule: str, got: object, hint: str = "") -> None:
        self.name = name
        self.rule = rule
        self.got = got
        self.hint = hint
        super().__init__(" ".join(filter(None, (f"{name} must be {rule}, got {got!r}.", hint))))

    def __reduce__(self) -> tuple[type[ParameterError], tuple[str, str, object, str]]:
        """Return how another process makes the same error: not from its text alone."""
        return type(self), (self.name, self.rule, self.got, self.hint)


class LookError(FrontglassError):
    """A look that cannot be found, read or rendered.

    Examples
    --------
    >>> import frontglass as fg
    >>> try:
    ...     fg.Look.from_toml("name = 'quiet-pier'")
    ... except fg.LookError as error:
    ...     print(error)
    look: summary is missing.
    """


class PictureFileError(FrontglassError):
    """A picture file that cannot be read or written.

    Examples
    --------
    >>> import numpy as np, frontglass as fg
    >>> try:
    ...     fg.write_picture("wall.bmp", fg.Picture(radiance=np.ones((2, 2, 3))))
    ... except fg.PictureFileError as error:
    ...     print("wall.bmp" in str(error))
    True
    """


class AccuracyWarning(UserWarning):
    """The answer is usable but less exact than usual; the text says by how much.

    Examples
    --------
    >>> import frontglass as fg
    >>> issubclass(fg.AccuracyWarning, UserWarning)
    True
    """
