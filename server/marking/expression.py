"""Conditions on signals, as checks and scenarios name them."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from pydantic import GetCoreSchemaHandler
from pydantic_core import CoreSchema, core_schema

from server.ladder.messages import ProgramError
from server.ladder.program import Block, Comparison, Contact, Name, Series, walk
from server.ladder.text_form import parse_network

MAX_CONDITION = 1000
"""The most characters of a condition."""


@dataclass(frozen=True, slots=True)
class Expression:
    """A condition: its text as the author wrote it, and its network in the form of rungs.

    It names points, the exercise's observer variables and plant quantities. A field of this type
    in a pydantic form reads a text.
    """

    text: str
    network: Series

    @classmethod
    def read(cls, text: str) -> "Expression":
        """Return the condition of a text; one that can't be read stands as TRUE.

        ``files.conditions`` reports what is wrong with it, at its place in the file.
        """
        try:
            return cls(text, parse_network(text))
        except ProgramError:
            return cls(text, Series(()))

    def names(self) -> Iterator[str]:
        """Yield the lower-case name of each signal in order; one that comes twice, twice."""
        for _, element in walk(self.network):
            match element:
                case Contact(_, symbol):
                    yield symbol.lower()
                case Comparison(left, _, right):
                    for operand in (left, right):
                        if isinstance(operand, Name):
                            yield operand.symbol.lower()
                case Block():
                    pass  # no condition has one

    @classmethod
    def __get_pydantic_core_schema__(
        cls, source: type[Any], handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        text = core_schema.str_schema(min_length=1, max_length=MAX_CONDITION)
        return core_schema.no_info_after_validator_function(cls.read, text)
