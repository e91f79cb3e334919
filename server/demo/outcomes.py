"""The demo's catalogue of outcomes, and what its department does about those below target."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.demo.people import DEPARTMENT
from server.marking.exercise import Exercise
from server.store import reports
from server.store.courses import Section
from server.store.outcome_actions import OutcomeAction
from server.store.outcomes import Target, program_outcomes, save_outcome, save_program_outcome
from server.store.people import User
from server.store.report_work import work_of

PROGRAM = {
    "P1": "Write control programs that keep people and plant safe.",
    "P2": "Build machine sequences from a written statement.",
    "P3": "Document programs so that a colleague can maintain them.",
}
FEEDS = {
    "stopping": ("P1",),
    "interlock": ("P1", "P2"),
    "alarms": ("P1",),
    "documentation": ("P3",),
}
"""Of the program outcomes; what is not named feeds P2."""

LOCAL = ("waiting", "pulses")
"""Outcomes that only their exercises know."""


def load_outcomes(
    session: Session,
    exercises: Sequence[Exercise],
    before: Section,
    now_taught: Section,
    now: datetime,
) -> None:
    """Fill the catalogue, sharpen one target in today's term, and act on what is below target."""
    for code, statement in PROGRAM.items():
        save_program_outcome(session, code, statement, None)
    ids = {each.code: each.id for each in program_outcomes(session)}
    statements = {name: text for each in exercises for name, text in each.outcomes.items()}
    for name, statement in sorted(statements.items()):
        if name in LOCAL:
            continue
        fed = [ids[code] for code in FEEDS.get(name, ("P2",))]
        for term, target in ((before.term, Target()), (now_taught.term, Target(0.7, 0.85))):
            if term is before.term or name == "stopping":
                save_outcome(
                    *(session, before.course_id, term, name),
                    statement=statement,
                    target=target,
                    feeds=fed,
                )
    _act(session, exercises, before, now)


def _act(session: Session, exercises: Sequence[Exercise], before: Section, now: datetime) -> None:
    """Enter an action for each of two outcomes that were below target in the term before."""
    head = session.scalars(select(User).where(User.email == DEPARTMENT)).one()
    outcomes = {each.slug: {r.id: r.outcomes for r in each.requirements} for each in exercises}
    work = work_of(session, before.course_id, [before.term_id])
    below = [
        found
        for found in reports.attainment(work, outcomes, {}).values()
        if not found.on_target and found.outcome not in LOCAL
    ]
    for found, action in zip(below, ACTIONS, strict=False):
        session.add(
            OutcomeAction(
                course_id=before.course_id,
                outcome=found.outcome,
                term_id=before.term_id,
                students=found.students,
                reached=found.reached,
                share=found.target.share,
                finding=action[0],
                action=action[1],
                responsible=action[2],
                due=before.term.ends + timedelta(days=30),
                by_id=head.id,
                at=min(now, now.replace(hour=9, minute=0)),
            )
        )


ACTIONS = (
    (
        "Most programs do what is asked in the usual run and forget the case that nobody tried.",
        "A second bench hour before the due date, in which partners try each other's programs.",
        "Instructors of AUT 131",
    ),
    (
        "Students who start late hand in once and never come back to the verdict.",
        "Set the exercise a week earlier and talk about its commonest mistakes in class.",
        "Course lead of AUT 131",
    ),
)
