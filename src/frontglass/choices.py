"""Choices that a user makes by name: strings, with the names they may have."""

from __future__ import annotations

from enum import StrEnum
from typing import Self, TypeVar

from frontglass.errors import ParameterError

Names = TypeVar("Names", bound=StrEnum)


def member_of(names: type[Names], name: str, value: object) -> Names:
    """Return the member of `names` that `value` names; see `Choice.of`."""
    try:
        return names(value)  # type: ignore[arg-type]
    except ValueError:
        known = [repr(member.value) for member in names]
        rule = " or ".join(filter(None, (", ".join(known[:-1]), known[-1])))
        raise ParameterError(name, rule, value) from None


class Choice(StrEnum):
    """One of a few names; a string will do wherever one is asked for."""

    @classmethod
    def of(cls, name: str, value: object) -> Self:
        """Return the member that `value` names.

        Parameters
        ----------
        name : str
            The parameter, for the error.
        value : object
            A member or its string.

        Raises
        ------
        ParameterError
            If it names none.
        """
        return member_of(cls, name, value)


class Surround(Choice):
    """What lies outside the frame: its mirror image without its lamps, or with them, or darkness.

    Lamps are what is brighter than white and small. They shine from where they are, and all else
    goes on beyond the frame, so that even light stays even.

    Examples
    --------
    >>> import frontglass as fg
    >>> fg.Surround("dark") == "dark"
    True
    """

    LAMPLESS = "lampless"
    MIRROR = "mirror"
    DARK = "dark"


class PastWhite(Choice):
    """How light above white is shown: paler in its own hue, or every channel clipped by itself.

    Examples
    --------
    >>> import frontglass as fg
    >>> fg.PastWhite("clip") == "clip"
    True
    """

    HUE = "hue"
    CLIP = "clip"


class LensFrom(Choice):
    """Where lens and sensor of a still come from: its file and what is typed, or that alone.

    Examples
    --------
    >>> import frontglass as fg
    >>> fg.LensFrom("typed") == "typed"
    True
    """

    FILE = "file"
    TYPED = "typed"


class GainMapUse(Choice):
    """What is done with a gain map in a still's file: it is taken at full headroom, or left.

    Examples
    --------
    >>> import frontglass as fg
    >>> fg.GainMapUse("off") == "off"
    True
    """

    ON = "on"
    OFF = "off"


class Damage(Choice):
    """What becomes of a still whose decoder warns of damage, and yet gives a picture.

    NOTE says it among the picture's notices, REFUSE refuses the still.
    """

    NOTE = "note"
    REFUSE = "refuse"
