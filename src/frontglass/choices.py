"""Choices that a user makes by name: strings, with the names they may have."""

from __future__ import annotations

from enum import StrEnum
from typing import Self

from frontglass.errors import ParameterError


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
        try:
            return cls(value)  # type: ignore[arg-type]
        except ValueError:
            names = [repr(member.value) for member in cls]
            rule = " or ".join(filter(None, (", ".join(names[:-1]), names[-1])))
            raise ParameterError(name, rule, value) from None


class Surround(Choice):
    """What lies outside the frame: its mirror image, or darkness."""

    MIRROR = "mirror"
    DARK = "dark"
