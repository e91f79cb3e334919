"""Enumerations whose members are rows of a table."""

from enum import StrEnum
from typing import Self


class Rows(StrEnum):
    """Words, each with a ``row`` that says what it stands for: ``ADD = "+", OperatorRow(...)``."""

    row: object

    # The default is for mypy, to which ``Operator("+")`` is a call of this.
    def __new__(cls, word: str, row: object = None) -> Self:
        if row is None:
            raise TypeError(f"{word} has no row.")
        member = str.__new__(cls, word)
        member._value_ = word
        member.row = row
        return member
