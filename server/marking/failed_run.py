"""What a verdict's sentence can say of the run in which a check was violated.

Every word is true of that run: a signal is named with the state in which it was recorded. Where
more than contacts in series decides, the condition is quoted as a whole.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from server.ladder.elements import ContactKind
from server.ladder.points import Direction, PointDeclaration
from server.ladder.program import Contact
from server.marking.expression import Expression
from server.marking.operator_acts import Act
from server.marking.phrases import seconds
from server.plant.devices import kind_of

HAPPENED = "it happened"
"""What stands for a condition that only the exercise's observer knows."""

MOST_OUTPUTS, MOST_ACTS = 2, 3
"""How many outputs and how many of the last acts a sentence names."""

_POINT_STATES, _POINT_CHANGES = ("on", "off"), ("came on", "went off")


@dataclass(frozen=True, slots=True)
class SignalWords:
    """A signal's name in a sentence, its two states and the changes to them: on, then off."""

    name: str
    states: tuple[str, str] = _POINT_STATES
    changes: tuple[str, str] = _POINT_CHANGES
    number: bool = False


@dataclass(frozen=True, slots=True)
class FailedRun:
    """A recorded run up to a little after the scan in which a check was first violated.

    ``judged`` is bool[scans]: the check's judged condition. ``signals`` has float64[scans] of what
    the check names, by lower-case name. ``asked`` is the scan that asked for an answer, if any, and
    ``answered`` the one in which it came too late. ``outputs`` are the symbols of those that the
    check judges, ``acts`` what was done, ``own`` the signals of the exercise's observer, ``words``
    those of the signals by name.
    """

    period_ms: int
    scan: int
    judged: NDArray[np.bool_]
    signals: Mapping[str, NDArray[np.float64]]
    asked: int | None = None
    answered: int | None = None
    broken: bool = False
    outputs: tuple[str, ...] = ()
    acts: tuple[Act, ...] = ()
    own: frozenset[str] = frozenset()
    words: Mapping[str, SignalWords] = field(default_factory=dict)

    @property
    def at(self) -> str:
        """When the check was violated: '3.15 s'."""
        return self.time(self.scan)

    @property
    def last(self) -> int:
        """The last recorded scan."""
        return len(self.judged) - 1

    def time(self, scans: int) -> str:
        """Return so many scans in seconds."""
        return seconds(scans * self.period_ms)

    def facts(self) -> str:
        """Return how long each judged output was as it was, and what had been done before."""
        return " ".join([*map(self._stretch, self.outputs[:MOST_OUTPUTS]), self._done()])

    def _stretch(self, symbol: str) -> str:
        """Return since when and until when an output was as it is in the violated scan."""
        values = self.signals[symbol.lower()]
        word = self.words.get(symbol.lower(), SignalWords(symbol))
        changes = np.flatnonzero(values[1:] != values[:-1]) + 1
        before, after = changes[changes <= self.scan], changes[changes > self.scan]
        if word.number:
            state = f"showed {values[self.scan]:g}"
        else:
            state = f"was {word.states[not values[self.scan]]}"
        since = f"from {self.time(int(before[-1]))}" if before.size else "from the start"
        if after.size:
            return f"{word.name} {state} {since} to {self.time(int(after[0]))}."
        return f"{word.name} {state} {since} to {self.time(self.last)} or longer."

    def _done(self) -> str:
        done = [act for act in self.acts if act.scan <= self.scan][-MOST_ACTS:]
        if not done:
            return "Before that, no control was worked."
        return f"Before that: {', '.join(f'{a.words} at {self.time(a.scan)}' for a in done)}."

    def last_held(self, expression: Expression) -> str:
        """Return when ``expression`` last held before the violation, if contacts alone say so."""
        contacts = _contacts(expression)
        if contacts is None or not self.own.isdisjoint(c.symbol.lower() for c in contacts):
            return ""
        held = np.all([self._conducts(contact) for contact in contacts], axis=0)
        scans = np.flatnonzero(held[: self.scan + 1])
        if not scans.size:
            return f"in this run {quoted(expression)} had not been true before"
        return f"{quoted(expression)} was last true at {self.time(int(scans[-1]))}"

    def judged_scans(self) -> int:
        """Return for how many scans the judged condition held without a break, up to ``scan``."""
        end = self.scan + bool(self.judged[self.scan])
        off = np.flatnonzero(~self.judged[:end])
        return end - (int(off[-1]) + 1 if off.size else 0)

    def changes(self, scans: int) -> int:
        """Return how often the judged condition changed in the last ``scans`` scans."""
        before = np.concatenate([[False], self.judged[:-1]])
        first = max(0, self.scan - scans + 1)
        return int(np.count_nonzero((self.judged != before)[first : self.scan + 1]))

    def held(self, expression: Expression) -> str:
        """Return what was so when ``expression`` held: 'fill_pump was on and power was off'.

        The observer's own variables say nothing to a student, so other signals stand for them.
        """
        contacts = [c for c in _contacts(expression) or () if c.symbol.lower() not in self.own]
        if not contacts and self.outputs:
            return HAPPENED
        if not contacts:
            return f"{quoted(expression)} was true"
        return " and ".join(f"{self._word(c).name} was {self._state(c, True)}" for c in contacts)

    def lacked(self, expression: Expression) -> str:
        """Return what kept ``expression`` from holding: 'stop_pb was off'."""
        open_ = [c for c in self._named(expression) if not self._conducts(c)[self.scan]]
        if not open_:
            return f"{self._it(expression)} was not so"
        return " and ".join(f"{self._word(c).name} was {self._state(c, False)}" for c in open_)

    def still_lacked(self, expression: Expression) -> str:
        """Return what has kept it from holding ever since it was asked for."""
        since = self.scan if self.asked is None else self.asked
        open_ = [c for c in self._named(expression) if not self._conducts(c)[since:].any()]
        if not open_:
            return f"{self._it(expression)} was still not so"
        return " and ".join(
            f"{self._word(c).name} was still {self._state(c, False)}" for c in open_
        )

    def turned(self, expression: Expression, scan: int, *, to: bool) -> str:
        """Return what changed in ``scan`` so that ``expression`` held, or no longer did."""
        changed = [
            c
            for c in self._named(expression)
            if scan and (self._conducts(c)[scan - 1 : scan + 1] == [not to, to]).all()
        ]
        if not changed:
            return f"{self._it(expression)} {'became so' if to else 'was no longer so'}"
        return " and ".join(f"{self._word(c).name} {self._change(c, to)}" for c in changed)

    def _named(self, expression: Expression) -> list[Contact]:
        """Return the contacts that the condition needs and that a student knows."""
        return [c for c in _leading(expression) if c.symbol.lower() not in self.own]

    def _it(self, expression: Expression) -> str:
        """Return the condition's words where no contact says it; the outputs follow."""
        return "it" if self.outputs else quoted(expression)

    def _word(self, contact: Contact) -> SignalWords:
        name = contact.symbol.lower()
        return self.words.get(name, SignalWords(name))

    def _state(self, contact: Contact, conducts: bool) -> str:
        return self._word(contact).states[conducts is (contact.kind is ContactKind.CLOSED)]

    def _change(self, contact: Contact, conducts: bool) -> str:
        return self._word(contact).changes[conducts is (contact.kind is ContactKind.CLOSED)]

    def _conducts(self, contact: Contact) -> NDArray[np.bool_]:
        on = self.signals[contact.symbol.lower()] > 0
        return on if contact.kind is ContactKind.OPEN else ~on


def quoted(expression: Expression) -> str:
    """Return a condition as its author wrote it, in quotes and on one line."""
    return f'"{" ".join(expression.text.split())}"'


def words_of(points: Iterable[PointDeclaration]) -> dict[str, SignalWords]:
    """Return the words of each output's number, and of each actuator by what it really does.

    A BOOL point itself is on or off: with a fault the device (``fill_pump.on``) need not follow it.
    """
    points = tuple(points)
    return {
        point.symbol.lower(): SignalWords(point.symbol.lower(), number=True)
        for point in points
        if point.type != "BOOL"
    } | {
        f"{point.symbol.lower()}.on": SignalWords(
            point.symbol.lower(), kind_of(point).states, kind_of(point).changes
        )
        for point in points
        if point.direction is Direction.OUTPUT
    }


def _leading(expression: Expression) -> list[Contact]:
    """Return the plain contacts in series, each of which the condition needs."""
    return [
        item
        for item in expression.network.items
        if isinstance(item, Contact) and item.kind in (ContactKind.OPEN, ContactKind.CLOSED)
    ]


def _contacts(expression: Expression) -> list[Contact] | None:
    """Return the condition's contacts, if it is nothing but plain contacts in series."""
    contacts = _leading(expression)
    return contacts if len(contacts) == len(expression.network.items) else None
