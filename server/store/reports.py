"""Figures for the department: outcomes, requirements, attempts, mistakes. Only what was marked.

Points that were set by hand do not enter, for they say nothing of single requirements.
"""

import json
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

from sqlalchemy import String, cast, select
from sqlalchemy.orm import Session

from server.marking.verdict import Status
from server.store.courses import Assignment, Enrolment, Section, SectionRole, Term
from server.store.standings import CountingAttempt
from server.store.statistics import alpha, corrected_item_total, difficulty, discrimination
from server.store.targets import Target

OutcomeMap = Mapping[str, Mapping[str, Sequence[str]]]
"""Outcomes by exercise and requirement."""


@dataclass(frozen=True, slots=True)
class Work:
    """What counts for one student at one exercise. ``results`` is as in ``CountingAttempt``."""

    term_id: int
    section_id: int
    exercise: str
    title: str
    user_id: int
    submission_id: int
    attempt: int
    score: float
    max_score: float
    results: Mapping[str, Sequence[object]] = field(default_factory=dict)

    def met(self, requirement: str) -> bool:
        return self.results[requirement][0] == Status.MET.value

    @property
    def complete(self) -> bool:
        return self.score == self.max_score


@dataclass(frozen=True, slots=True)
class Attainment:
    """How many of ``students`` reached an outcome."""

    outcome: str
    students: int
    reached: int
    target: Target

    @property
    def share(self) -> float:
        return self.reached / self.students if self.students else 0.0

    @property
    def on_target(self) -> bool:
        return self.share >= self.target.share


@dataclass(frozen=True, slots=True)
class Item:
    """One requirement of an exercise as an item; correlations are None where nothing varies."""

    requirement: str
    students: int
    met: int
    difficulty: float
    discrimination: float
    corrected: float | None


@dataclass(frozen=True, slots=True)
class ExerciseReport:
    """The requirements of one exercise, and how its students fared."""

    exercise: str
    title: str
    students: int
    items: tuple[Item, ...]
    reliability: float | None
    passed_after: tuple[tuple[int, int], ...]
    not_passed: int


@dataclass(frozen=True, slots=True)
class Mistake:
    """A requirement that often is not met, and a submission that shows it."""

    exercise: str
    title: str
    requirement: str
    students: int
    of: int
    example: int


def work_of(session: Session, course_id: int, term_id: int | None = None) -> list[Work]:
    """What counts in all sections of a course; one query."""
    query = (
        select(
            Section.term_id,
            Assignment.section_id,
            Assignment.exercise,
            Assignment.title,
            CountingAttempt.user_id,
            CountingAttempt.submission_id,
            CountingAttempt.attempt,
            CountingAttempt.score,
            CountingAttempt.max_score,
            cast(CountingAttempt.results, String).label("results"),
        )
        .join(Assignment, Assignment.id == CountingAttempt.assignment_id)
        .join(Section, Section.id == Assignment.section_id)
        .join(
            Enrolment,
            (Enrolment.section_id == Section.id) & (Enrolment.user_id == CountingAttempt.user_id),
        )
        .where(
            Section.course_id == course_id,
            Enrolment.role == SectionRole.STUDENT,
            CountingAttempt.submission_id.is_not(None),
        )
        .order_by(Assignment.due_at, Assignment.id, CountingAttempt.user_id)
    )
    if term_id is not None:
        query = query.where(Section.term_id == term_id)
    return [
        Work(
            row.term_id,
            row.section_id,
            row.exercise,
            row.title,
            row.user_id,
            row.submission_id or 0,
            row.attempt or 0,
            row.score or 0.0,
            row.max_score or 0.0,
            _results(row.results),
        )
        for row in session.execute(query)
    ]


@lru_cache(maxsize=10_000)
def _results(text: str) -> Mapping[str, Sequence[object]]:
    """Most students of an exercise share their results with others: each text is read once."""
    found: Mapping[str, Sequence[object]] = json.loads(text)
    return found


def terms_of(session: Session, course_id: int) -> list[Term]:
    """Terms in which the course has sections, the newest first."""
    return list(
        session.scalars(
            select(Term)
            .where(Term.id.in_(select(Section.term_id).where(Section.course_id == course_id)))
            .order_by(Term.begins.desc())
        )
    )


def attainment(
    work: Sequence[Work], outcomes: OutcomeMap, targets: Mapping[str, Target]
) -> dict[str, Attainment]:
    """By outcome: a student has reached it with the target's level of its points."""
    points: dict[str, dict[int, list[float]]] = defaultdict(lambda: defaultdict(lambda: [0.0, 0.0]))
    for each in work:
        for requirement, (_, score, most) in each.results.items():
            for outcome in outcomes.get(each.exercise, {}).get(requirement, ()):
                sums = points[outcome][each.user_id]
                sums[0] += score  # type: ignore[operator]
                sums[1] += most  # type: ignore[operator]
    found = {}
    for outcome in sorted(points):
        target = targets.get(outcome, Target())
        shares = [got / most for got, most in points[outcome].values() if most]
        # A share that is the level but for rounding is the level.
        reached = sum(share >= target.level - 1e-9 for share in shares)
        found[outcome] = Attainment(outcome, len(shares), reached, target)
    return found


def exercise_reports(work: Sequence[Work]) -> list[ExerciseReport]:
    """One for each exercise, in the order of the work."""
    by_exercise: dict[str, list[Work]] = defaultdict(list)
    for each in work:
        by_exercise[each.exercise].append(each)
    return [_exercise(own) for own in by_exercise.values()]


def _exercise(work: Sequence[Work]) -> ExerciseReport:
    # Versions of an exercise may differ; items are those that every student met with.
    names = [name for name in work[0].results if all(name in each.results for each in work)]
    rows = [[float(each.met(name)) for name in names] for each in work]
    columns = zip(
        names, difficulty(rows), discrimination(rows), corrected_item_total(rows), strict=True
    )
    items = tuple(Item(name, len(rows), round(p * len(rows)), p, d, r) for name, p, d, r in columns)
    passed = Counter(each.attempt for each in work if each.complete)
    return ExerciseReport(
        work[0].exercise,
        work[0].title,
        len(work),
        items,
        alpha(rows),
        tuple(sorted(passed.items())),
        sum(not each.complete for each in work),
    )


def lab_set_reliability(work: Sequence[Work]) -> tuple[float | None, int, int]:
    """Alpha over the exercises' shares, the number of students and of exercises it rests on.

    Only students who have handed in every exercise that most students have.
    """
    by_student: dict[tuple[int, int], dict[str, float]] = defaultdict(dict)
    for each in work:
        by_student[each.section_id, each.user_id][each.exercise] = each.score / each.max_score
    handed_in = Counter(exercise for shares in by_student.values() for exercise in shares)
    exercises = [name for name, count in handed_in.items() if count * 2 > len(by_student)]
    rows = [
        [shares[name] for name in exercises]
        for shares in by_student.values()
        if all(name in shares for name in exercises)
    ]
    return (alpha(rows) if exercises else None), len(rows), len(exercises)


def commonest_mistakes(work: Sequence[Work], most: int = 6) -> list[Mistake]:
    """Requirements that most students do not meet in what counts."""
    wrong: dict[tuple[str, str], list[Work]] = defaultdict(list)
    handed_in: Counter[str] = Counter(each.exercise for each in work)
    for each in work:
        for requirement in each.results:
            if not each.met(requirement):
                wrong[each.exercise, requirement].append(each)
    found = [
        Mistake(name, own[0].title, requirement, len(own), handed_in[name], own[0].submission_id)
        for (name, requirement), own in wrong.items()
    ]
    return sorted(found, key=lambda each: -each.students)[:most]
