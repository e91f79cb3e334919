"""What the department's report rests on: what counts for each student at each exercise."""

import json
from collections.abc import Collection, Mapping, Sequence
from functools import lru_cache
from typing import NamedTuple

from sqlalchemy import String, cast, select
from sqlalchemy.orm import Session

from server.marking.verdict import Status
from server.store.corrections import Excuse
from server.store.courses import Assignment, Enrolment, Section, SectionRole, Term
from server.store.standings import BY_HAND, CountingAttempt


class Work(NamedTuple):
    """What counts for one student at one exercise.

    ``results`` and ``passed_after`` are as in ``CountingAttempt``.
    """

    term_id: int
    section_id: int
    exercise: str
    title: str
    user_id: int
    submission_id: int
    attempt: int
    score: float
    max_score: float
    passed_after: int | None
    results: Mapping[str, Sequence[object]]

    def met(self, requirement: str) -> bool:
        return self.results[requirement][0] == Status.MET.value

    def by_hand(self, requirement: str) -> bool:
        """Return whether a teacher has set the result of a requirement."""
        return BY_HAND in self.results[requirement]


def work_of(
    session: Session, course_id: int, term_ids: Collection[int] | None = None
) -> list[Work]:
    """Return what counts in the sections of a course, in all its terms or in these; one query.

    Who has withdrawn, or has not finished the course, is left out, and so is excused work.
    """
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
            CountingAttempt.passed_after,
            cast(CountingAttempt.results, String).label("results"),
        )
        .join(Assignment, Assignment.id == CountingAttempt.assignment_id)
        .join(Section, Section.id == Assignment.section_id)
        .join(
            Enrolment,
            (Enrolment.section_id == Section.id) & (Enrolment.user_id == CountingAttempt.user_id),
        )
        .outerjoin(
            Excuse,
            (Excuse.assignment_id == Assignment.id) & (Excuse.user_id == CountingAttempt.user_id),
        )
        .where(
            Section.course_id == course_id,
            Enrolment.role == SectionRole.STUDENT,
            Enrolment.incomplete.is_(False),
            CountingAttempt.submission_id.is_not(None),
            Excuse.user_id.is_(None),
        )
        .order_by(Assignment.due_at, Assignment.id, CountingAttempt.user_id)
    )
    if term_ids is not None:
        query = query.where(Section.term_id.in_(term_ids))
    # Past the mapper, which has nothing to do here.
    rows = session.connection().execute(query).all()
    return [Work._make((*row[:-1], _results(row[-1]))) for row in rows]


@lru_cache(maxsize=10_000)
def _results(text: str) -> Mapping[str, Sequence[object]]:
    """Most students of an exercise share their results with others: each text is read once."""
    found: Mapping[str, Sequence[object]] = json.loads(text)
    return found


def terms_of(session: Session, course_id: int) -> list[tuple[Term, bool]]:
    """Return terms in which the course has sections, the newest first; whether any work counts."""
    marked = (
        select(CountingAttempt.assignment_id)
        .join(Assignment, Assignment.id == CountingAttempt.assignment_id)
        .join(Section, Section.id == Assignment.section_id)
        .where(
            Section.course_id == course_id,
            Section.term_id == Term.id,
            CountingAttempt.submission_id.is_not(None),
        )
        .exists()
    )
    rows = session.execute(
        select(Term, marked)
        .where(Term.id.in_(select(Section.term_id).where(Section.course_id == course_id)))
        .order_by(Term.begins.desc(), Term.id.desc())
    )
    return [(term, has_work) for term, has_work in rows]


def exercises_in(session: Session, course_id: int, term_id: int) -> dict[str, str]:
    """Return titles of the exercises that are set for a course in a term, by exercise."""
    rows = session.execute(
        select(Assignment.exercise, Assignment.title)
        .join(Section, Section.id == Assignment.section_id)
        .where(Section.course_id == course_id, Section.term_id == term_id)
        .order_by(Assignment.due_at, Assignment.id)
    )
    return dict(rows.all())
