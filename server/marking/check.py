"""What a check is. Each kind of check is one class, in a file of its own in ``checks/``.

A class says everything about its kind: its form in ``exercise.yaml`` (its fields), its words for
authors and for verdicts, its monitor and its picture. Whatever lists, reads, judges or draws checks
asks these classes; nothing else knows the kinds.
"""

from abc import ABC, abstractmethod
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar, TypeAlias

from pydantic import AfterValidator, Field

from server.marking.expression import Expression
from server.marking.failed_run import FailedRun
from server.marking.files.form import FileMapping
from server.marking.program_view import ProgramView
from server.plant.fields import Line, Many
from server.scan.assembler import Assembler
from server.scan.instructions import FALSE, Op

Compile: TypeAlias = Callable[[Expression], int]
"""Compiles a condition to a plane."""

Course: TypeAlias = tuple[tuple[int, tuple[str, ...]], ...]
"""Stretches of time in milliseconds, each with the keys of the conditions that are on in it."""

SHORTEST_MS = 10
"""The shortest stretch of a course."""

Sentence: TypeAlias = Annotated[str, AfterValidator(str.strip)]


class Check(FileMapping, ABC):
    """One property of a requirement.

    A field's key in the file is its alias; the first own field tells the kind of the check.
    ``fails`` is the author's sentence for a violation, ``idle`` the one for a check that nothing
    brought to bear; both may be empty. ``scenarios`` limits the check to those scenarios. What the
    check sees follows from the requirements ``follows`` where one of them is broken: it counts only
    where none is. The representation, which the suite's hash reads, shows only what is judged.
    """

    menu: ClassVar[str]
    """The kind in a list for authors: its key and a few words."""
    draft: ClassVar[dict[str, Any]]
    """A new check of this kind as it stands in the file before the author fills it in."""

    fails: Sentence = Field("", repr=False)
    idle: Sentence = Field("", repr=False)
    scenarios: Many[Line] = Field((), repr=False)
    follows: Many[Line] = Field((), repr=False)

    @classmethod
    def key(cls) -> str:
        """Return the key that tells this kind in the file: that of its first own field."""
        name = next(name for name in cls.model_fields if name not in Check.model_fields)
        return cls._key_of(name)

    @classmethod
    def _key_of(cls, name: str) -> str:
        return cls.model_fields[name].alias or name

    def conditions(self) -> dict[str, Expression]:
        """Return the conditions by their key in the file, in the order of the form."""
        return {self._key_of(name): value for name, value in self if isinstance(value, Expression)}

    def faults(self, symbols: Collection[str]) -> Iterator[tuple[str, str]]:
        """Yield what is wrong with the check as written: a key ('' for all of it), a sentence.

        ``symbols`` are those of the exercise's points and internal bits.
        """
        yield from ()


class ProgramCheck(Check):
    """A check of the program's text: its structure or its documentation."""

    @abstractmethod
    def complaint(self, view: ProgramView) -> str | None:
        """Return None when the program meets the check, else a sentence: what is wrong, where."""


@dataclass(frozen=True, slots=True)
class Circuit:
    """Planes of a property: violated in this scan, brought to bear in this scan.

    ``judged`` is the judged condition. A property that asks for it as an answer also gives
    ``asked``, TRUE in a scan that asks.
    """

    bad: int
    exercised: int
    judged: int
    asked: int = FALSE


@dataclass(frozen=True, slots=True)
class Monitor:
    """Planes of one check: violated in this scan, violated so far, exercised so far.

    ``judged`` and ``asked`` are those of its circuit.
    """

    bad: int
    violated: int
    exercised: int
    judged: int
    asked: int


class Pattern(Check):
    """A check of what happens in a run: a property pattern over signals.

    The patterns are those of Dwyer, Avrunin and Corbett (ICSE 1999) that control exercises need,
    with time bounds in whole scans, inclusive: 'within d' allows the answer in the scan that asks
    and in the ``d / period`` scans after it (pointwise semantics, sample i at time i * period).
    """

    @property
    def allowed_ms(self) -> int | None:
        """How long the answer may take once asked for; None where nothing is asked for."""
        return None

    @property
    @abstractmethod
    def judged(self) -> Expression:
        """The condition that is demanded or forbidden: a violation is explained by its output."""

    @abstractmethod
    def circuit(self, asm: Assembler, compile_condition: Compile) -> Circuit:
        """Emit the property as instructions that run after the plant step."""

    @abstractmethod
    def describe(self) -> str:
        """Return what is required as a clause, for a check without a sentence of its author."""

    @abstractmethod
    def violation(self, run: FailedRun) -> str:
        """Return a sentence on what the failing run did and what is allowed."""

    @abstractmethod
    def never_came(self) -> str:
        """Return what happened in no scenario when the check was not reached, as a clause."""

    @abstractmethod
    def courses(self) -> tuple[Course, Course] | None:
        """Return a course of events that passes and one that fails; None if there is none."""

    def not_met(self, number: str, run: FailedRun) -> str:
        """Return why requirement ``number`` is not met: what is required, what the run did."""
        said = self.fails or f"{self.describe()}."
        return f"{number} not met: {said} {self.violation(run)} {run.facts()}"

    def not_reached(self, number: str) -> str:
        """Return why requirement ``number`` is not exercised: what never happened."""
        return f"{number} not reached: {self.idle or f'in no scenario {self.never_came()}.'}"

    def monitor(self, asm: Assembler, compile_condition: Compile, running: int) -> Monitor:
        """Emit the circuit and its memory; ``running`` is TRUE in lanes that count."""
        circuit = self.circuit(asm, compile_condition)
        bad = asm.and_(circuit.bad, running)
        violated, exercised = asm.bit(), asm.bit()
        asm.emit(Op.SET, violated, bad)
        asm.emit(Op.SET, exercised, asm.and_(circuit.exercised, running))
        return Monitor(bad, violated, exercised, circuit.judged, circuit.asked)
