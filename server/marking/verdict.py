"""Verdicts: per requirement a status, how it is known, and the evidence."""

from dataclasses import dataclass
from enum import StrEnum


class Status(StrEnum):
    """The three answers there are."""

    MET = "met"
    NOT_MET = "not met"
    NOT_EXERCISED = "not exercised"

    @property
    def word(self) -> str:
        """What people read for it: a requirement that was not exercised was not reached."""
        return "not reached" if self is Status.NOT_EXERCISED else self.value


@dataclass(frozen=True, slots=True)
class Lane:
    """One signal of a timing chart: its value at each change.

    ``times_ms[i]`` is when ``values[i]`` begins. ``unit`` is empty for a BOOL.
    """

    name: str
    times_ms: tuple[int, ...]
    values: tuple[float, ...]
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Evidence:
    """What was seen around the first failure: scenario, moment, the signals concerned.

    For a response: when it was asked for, how long it is allowed to take, after how long it came
    (None: not by the end), and whether it had come and was ``broken`` off. ``steps`` tell a
    scenario that the engine found, as a list of operator actions. Times in milliseconds from the
    start of the scenario, but ``allowed_ms`` and ``answered_ms`` from ``asked_ms``.
    """

    scenario: str
    open: bool
    at_ms: int
    from_ms: int
    to_ms: int
    lanes: tuple[Lane, ...] = ()
    asked_ms: int | None = None
    allowed_ms: int | None = None
    answered_ms: int | None = None
    broken: bool = False
    causes: tuple[str, ...] = ()
    steps: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class RequirementVerdict:
    """The answer for one requirement, with one plain sentence.

    ``covers`` says what the search of a proof let happen, ``not_proved`` why a met requirement
    rests on its scenarios.
    """

    id: str
    status: Status
    known_by: str
    sentence: str
    score: float
    max_score: float
    evidence: Evidence | None = None
    not_proved: str = ""
    covers: str = ""


@dataclass(frozen=True, slots=True)
class Difference:
    """An output that is unlike every reference program, outside of what the sheet leaves open.

    ``at_ms`` is when the difference began, from the start of its run; ``steps`` are what was done
    in that run, ``evidence`` its signals: None where the plant itself did not follow the search.
    ``scenario`` is the run as it would stand in an exercise's file; older verdicts have none.
    """

    output: str
    sentence: str
    at_ms: int
    found_by: str
    steps: tuple[str, ...] = ()
    evidence: Evidence | None = None
    scenario: str = ""


@dataclass(frozen=True, slots=True)
class SharedCause:
    """Two or more requirements, by id, that one change of the program mends; ``change`` says it.

    The change is for teaching staff: it says how to mend the program.
    """

    requirements: tuple[str, ...]
    change: str


@dataclass(frozen=True, slots=True)
class Verdict:
    """The answer for one program; the same program, suite and engine give the same bytes.

    ``second_look`` is for teaching staff: where the program differs from every reference. Nothing
    is deducted for it; a teacher decides. ``causes`` are those that requirements share.
    """

    exercise: str
    exercise_version: int
    suite_hash: str
    engine_version: str
    requirements: tuple[RequirementVerdict, ...]
    fault: str = ""
    second_look: tuple[Difference, ...] = ()
    causes: tuple[SharedCause, ...] = ()

    def cause_of(self, requirement: str) -> SharedCause | None:
        """Return the cause that a requirement, by its id, shares with others."""
        return next((cause for cause in self.causes if requirement in cause.requirements), None)

    @property
    def score_by_cause(self) -> float:
        """Points reached if each cause counts once, as much as the most that it costs."""
        lost = {r.id: r.max_score - r.score for r in self.requirements}
        given_back = 0.0
        for cause in self.causes:
            costs = [lost[requirement] for requirement in cause.requirements]
            given_back += sum(costs) - max(costs)
        return self.score + given_back

    @property
    def score(self) -> float:
        """Points reached."""
        return sum(r.score for r in self.requirements)

    @property
    def max_score(self) -> float:
        """Points that can be reached."""
        return sum(r.max_score for r in self.requirements)

    @property
    def all_met(self) -> bool:
        """Whether every requirement is met."""
        return all(r.status is Status.MET for r in self.requirements)
