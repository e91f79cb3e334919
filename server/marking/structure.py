"""Rules about how a program is written: structure and documentation.

Each rule is one class. It looks at a student's program, whose points are bound by address, and
answers None or one plain sentence that says what is missing and where.
"""

import re
from abc import ABC, abstractmethod
from collections.abc import Iterable
from dataclasses import dataclass
from typing import ClassVar

from server.ladder.elements import BLOCK_TYPES, CoilKind, ContactKind
from server.ladder.names import REQUIREMENT, SERVES
from server.ladder.points import Direction
from server.ladder.program import Coil, Contact, walk
from server.marking.phrases import seconds
from server.marking.program_view import ASSIGNMENT, COMPARISON, SHIFT, ProgramView, sealed

ELEMENTS: tuple[str, ...] = (
    *(f"{kind} contact" for kind in ContactKind),
    *CoilKind,
    *BLOCK_TYPES,
    COMPARISON,
    ASSIGNMENT,
    SHIFT,
)
"""Names of elements that a rule can ask for."""

_WORD = re.compile(r"[^\W_]{2}")
"""What a comment must have at least beside the requirements: two letters or digits in a row."""


@dataclass(frozen=True, slots=True)
class ProgramRule(ABC):
    """A rule as a check asks for it: with a subject, a second symbol and a number.

    A subclass is one rule. ``name`` is what ``uses`` says and ``meaning`` what the rule asks for.
    Beside ``uses`` a check names the subject by ``of`` (a symbol, or an element where
    ``subject_is`` says so), the source by ``by``, the output that it is about by ``to``, the count
    by ``times`` and a timer's preset by ``preset``: those in ``needs`` must be there, those in
    ``may`` can be left out, all others are refused. What is asked for must lie on a path from the
    inputs to that output, or to any output where none is named.
    """

    name: ClassVar[str]
    meaning: ClassVar[str]
    needs: ClassVar[tuple[str, ...]] = ()
    may: ClassVar[tuple[str, ...]] = ()
    subject_is: ClassVar[str] = "symbol"

    subject: str = ""
    source: str = ""
    count: int = 1
    target: str = ""
    preset_ms: int | None = None

    @abstractmethod
    def complaint(self, view: ProgramView) -> str | None:
        """Return None when the program keeps to the rule, else a sentence: what is wrong, where.

        ``subject`` and ``source`` are known to the exercise.
        """


class ElementUsed(ProgramRule):
    name = "element"
    meaning = "An element stands at least so many times on a path from the inputs to an output."
    needs = ("of",)
    may = ("times", "to", "preset")
    subject_is = "element"

    def complaint(self, view: ProgramView) -> str | None:
        rungs, at_work = view.used(self.subject, self.preset_ms), view.at_work(self.target)
        used = sum(rung in at_work for rung in rungs)
        if used >= self.count:
            return None
        asked = "one" if self.count == 1 else str(self.count)
        preset = "" if self.preset_ms is None else f" with a preset of {seconds(self.preset_ms)}"
        idle = sorted(set(rungs) - at_work)
        where = f" that works towards {_towards(view, self.target)}" if idle else ""
        said = f"The program uses {used or 'no'} {self.subject}{preset}{where}"
        return f"{said}; the exercise asks for {asked}."


class ElementNotUsed(ProgramRule):
    name = "no element"
    meaning = "An element does not stand in the program."
    needs = ("of",)
    subject_is = "element"

    def complaint(self, view: ProgramView) -> str | None:
        if not view.used(self.subject):
            return None
        return f"The program uses a {self.subject}; the exercise asks to do without."


class SetResetPair(ProgramRule):
    name = "set-reset pair"
    meaning = "An internal bit (any, or the named one) that does work has a set and a reset coil."
    may = ("of", "to")

    def complaint(self, view: ProgramView) -> str | None:
        if self.subject:
            own = view.own_name(self.subject)
            if own is None:
                return f"The program does not declare the internal bit {self.subject}."
            candidates = [own]
        else:
            candidates = view.internal()
        halves = [
            (bool(view.coils(name, CoilKind.SET)), bool(view.coils(name, CoilKind.RESET)), name)
            for name in candidates
        ]
        pairs = [name for is_set, is_reset, name in halves if is_set and is_reset]
        at_work = view.at_work(self.target)
        if any(at_work.issuperset(view.coils(name, *_LATCHING)) for name in pairs):
            return None
        if pairs:
            return _idle(view, pairs[0], self.target)
        for is_set, is_reset, name in halves:
            if is_set or is_reset:
                has, lacks = ("set", "reset") if is_set else ("reset", "set")
                return f"{name} has a {has} coil but no {lacks} coil."
        wanted = candidates[0] if self.subject else "an internal bit"
        return f"No rung sets and no rung resets {wanted}."


class InternalBit(ProgramRule):
    name = "internal bit"
    meaning = "The internal bit that the statement names is written and does work."
    needs = ("of",)
    may = ("to",)

    def complaint(self, view: ProgramView) -> str | None:
        own = view.own_name(self.subject)
        if own is None:
            return f"The program does not declare {self.subject}."
        written = view.coils(own, *CoilKind)
        if not written:
            return f"No rung writes {own}."
        if view.at_work(self.target).isdisjoint(written):
            return _idle(view, own, self.target)
        return None


class SealIn(ProgramRule):
    name = "seal-in"
    meaning = "A coil that does work (any, or the named one) has its own contact in a branch."
    may = ("of", "to")

    def complaint(self, view: ProgramView) -> str | None:
        own = view.own_name(self.subject) if self.subject else None
        if self.subject and own is None:
            return f"The program does not declare {self.subject}."
        idle, at_work = "", view.at_work(self.target)
        for number, output in view.writes():
            if not (isinstance(output, Coil) and output.kind is CoilKind.COIL):
                continue
            network = view.program.rungs[number - 1].network
            if own in (None, output.symbol) and sealed(network, output.symbol):
                if number in at_work:
                    return None
                idle = output.symbol
        if idle:
            return _idle(view, idle, self.target)
        if own is None:
            return "No coil has its own contact in a branch that seals it in."
        rungs = view.coils(own, CoilKind.COIL)
        where = f"Rung {rungs[0]}" if rungs else "The program"
        return f"{where} has no branch with {own}'s own contact that seals it in."


class OneCoil(ProgramRule):
    name = "one coil"
    meaning = "Each output (or the named one) has one coil; a set and a reset coil are two."
    may = ("of",)

    def complaint(self, view: ProgramView) -> str | None:
        outputs = [p.symbol for p in view.points if p.direction is Direction.OUTPUT]
        for symbol in [self.subject] if self.subject else outputs:
            name = view.own_name(symbol)
            rungs = view.coils(name, *CoilKind) if name else []
            if len(rungs) > 1:
                return f"{name} is written by the coils of rungs {_rungs(rungs)}; one is allowed."
        return None


class DrivenBy(ProgramRule):
    name = "driven by"
    meaning = "Every rung that drives the output has a contact of the other symbol, or of a bit "
    meaning += "that is driven by it."
    needs = ("of", "by")

    def complaint(self, view: ProgramView) -> str | None:
        target, source = view.own_name(self.subject), view.own_name(self.source)
        for wanted, own in ((self.subject, target), (self.source, source)):
            if own is None:
                return f"The program does not declare {wanted}."
        assert target is not None
        assert source is not None
        rungs = view.coils(target, *_DRIVING)
        if not rungs:
            return f"No rung drives {target}."
        for number in rungs:
            if not _needs_contact(view, number, target, source, on=True, passed=frozenset()):
                return f"Rung {number} drives {target} without a contact of {source}."
        return None


_DRIVING = (CoilKind.COIL, CoilKind.NEGATED, CoilKind.SET)
_LATCHING = (CoilKind.SET, CoilKind.RESET)


def _needs_contact(
    view: ProgramView, number: int, symbol: str, source: str, *, on: bool, passed: frozenset[str]
) -> bool:
    """Tell whether a rung that turns ``symbol`` on (or off) has a contact that ``source`` closes.

    The contact may be one of another bit, all of whose rungs have such a contact. A negated coil is
    on while its network is open, so that there a normally closed contact counts.
    """
    rung = view.program.rungs[number - 1]
    [kind, *_] = [
        output.kind
        for output in rung.outputs
        if isinstance(output, Coil)
        if output.symbol == symbol
    ]
    conducts = on is (kind is not CoilKind.NEGATED)
    for _, element in walk(rung.network):
        if not isinstance(element, Contact) or element.kind not in _PLAIN_CONTACTS:
            continue
        closed_by_on = conducts is (element.kind is ContactKind.OPEN)
        if element.symbol == source and closed_by_on:
            return True
        behind = view.coils(element.symbol, *_DRIVING)
        if (
            element.symbol not in passed
            and behind
            and all(
                _needs_contact(
                    view, each, element.symbol, source, on=closed_by_on, passed=passed | {symbol}
                )
                for each in behind
            )
        ):
            return True
    return False


_PLAIN_CONTACTS = (ContactKind.OPEN, ContactKind.CLOSED)


class CommentOnEveryRung(ProgramRule):
    name = "comment on every rung"
    meaning = "Every rung has a comment with a word in it."

    def complaint(self, view: ProgramView) -> str | None:
        bare = [
            number
            for number, rung in enumerate(view.program.rungs, 1)
            if not _WORD.search(REQUIREMENT.sub("", rung.comment))
            and (rung.outputs or rung.network.items)
        ]
        if not bare:
            return None
        if len(bare) == 1:
            return f"Rung {bare[0]} has no comment."
        return f"Rungs {_rungs(bare)} have no comment."


class NameForEveryPoint(ProgramRule):
    name = "name for every point"
    meaning = "Every point of the table is declared."

    def complaint(self, view: ProgramView) -> str | None:
        named = {v.address for v in view.program.variables}
        missing = [p for p in view.points if p.address not in named]
        if not missing:
            return None
        listed = _list(f"{p.address} ({p.symbol})" for p in missing)
        return f"The program has no name for {listed}."


class RungForEveryRequirement(ProgramRule):
    name = "rung for every requirement"
    meaning = "Every stated requirement is named by a rung that serves it."

    def complaint(self, view: ProgramView) -> str | None:
        served = {
            number
            for rung in view.program.rungs
            if rung.outputs or rung.network.items
            for number in (*rung.serves, *_named_within(rung.comment))
        }
        missing = [number for number in view.stated if number not in served]
        if not missing:
            return None
        return f"No rung says that it serves {_list(missing)}."


def _named_within(comment: str) -> list[str]:
    """Return the requirements in brackets behind the beginning of a comment."""
    return [
        number
        for bracket in SERVES.finditer(comment)
        for number in REQUIREMENT.findall(bracket.group(1))
    ]


def rules_by_name() -> dict[str, type[ProgramRule]]:
    """Return every rule by its name. Raises TypeError for one that lacks something."""
    found = {}
    for rule in ProgramRule.__subclasses__():
        missing = sorted(rule.__abstractmethods__)
        missing += [word for word in ("name", "meaning") if not hasattr(rule, word)]
        if missing:
            raise TypeError(f"The rule {rule.__name__} lacks {', '.join(missing)}. Add it.")
        found[rule.name] = rule
    return found


RULES: dict[str, type[ProgramRule]] = rules_by_name()
"""Every rule by the name under which ``uses`` asks for it."""


def _idle(view: ProgramView, symbol: str, target: str) -> str:
    there = _towards(view, target)
    return f"{symbol} does no work: no path leads from the inputs through it to {there}."


def _towards(view: ProgramView, target: str) -> str:
    """Return the output that a rule is about, by the student's own name."""
    return (view.own_name(target) or target) if target else "an output"


def _list(names: Iterable[str]) -> str:
    return ", ".join(names)


def _rungs(numbers: list[int]) -> str:
    words = list(map(str, numbers))
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1])))
