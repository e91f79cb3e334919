"""The demo's catalogue of outcomes, and what its department does about those below target."""

from collections.abc import Sequence
from datetime import datetime, time, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.demo.people import DEPARTMENT
from server.marking.exercise import Exercise
from server.marking.files.catalogue import Catalogue
from server.store import reports
from server.store.courses import Section
from server.store.outcome_actions import OutcomeAction, close_action, store_action
from server.store.outcomes import Target, program_outcomes, save_outcome, save_program_outcome
from server.store.people import User
from server.store.report_work import work_of
from server.store.signatures import ReportSignature, sign_report
from server.web.reports.binder import figures_hash
from server.web.reports.figures import read_report

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
    session: Session, exercises: Sequence[Exercise], sections: Sequence[Section], now: datetime
) -> None:
    """Fill the catalogue, sharpen a target in today's term, and act on what is below target.

    ``sections`` is one of each term, the oldest first.
    """
    for code, statement in PROGRAM.items():
        save_program_outcome(session, code, statement, None)
    ids = {each.code: each.id for each in program_outcomes(session)}
    statements = {name: text for each in exercises for name, text in each.outcomes.items()}
    oldest, _, newest = (section.term for section in sections)
    for name, statement in sorted(statements.items()):
        if name in LOCAL:
            continue
        fed = [ids[code] for code in FEEDS.get(name, ("P2",))]
        for term, target in ((oldest, Target()), (newest, Target(0.7, 0.85))):
            if term is oldest or name == "stopping":
                save_outcome(
                    *(session, sections[0].course_id, term, name),
                    statement=statement,
                    target=target,
                    feeds=fed,
                )
    _act(session, exercises, sections, now)


def _act(
    session: Session, exercises: Sequence[Exercise], sections: Sequence[Section], now: datetime
) -> None:
    """Enter an action in each term that is over; the first one has its result in the second."""
    head = session.scalars(select(User).where(User.email == DEPARTMENT)).one()
    outcomes = {each.slug: {r.id: r.outcomes for r in each.requirements} for each in exercises}
    for place, (finding, action, responsible, result) in enumerate(ACTIONS):
        section, after = sections[place], sections[place + 1].term
        work = work_of(session, section.course_id, [section.term_id])
        below = [
            found
            for found in reports.attainment(work, outcomes, {}).values()
            if not found.on_target and found.outcome not in LOCAL
        ]
        if not below:
            continue
        at = datetime.combine(after.begins, time(9), now.tzinfo)
        row = OutcomeAction(
            course_id=section.course_id,
            outcome=below[0].outcome,
            term_id=section.term_id,
            students=below[0].students,
            reached=below[0].reached,
            share=below[0].target.share,
            finding=finding,
            action=action,
            responsible=responsible,
            due=max(after.ends, now.date() + timedelta(days=30)) if place else after.ends,
            by_id=head.id,
            at=min(at, now),
        )
        store_action(session, row)
        if result:
            ended = datetime.combine(after.ends, time(9), now.tzinfo)
            close_action(session, row, result, after, by_id=head.id, now=min(ended, now))


def sign_reports(
    session: Session, catalogue: Catalogue, sections: Sequence[Section], now: datetime
) -> None:
    """Let the head of the department sign the report of each term that is over, a week after it."""
    head = session.scalars(select(User).where(User.email == DEPARTMENT)).one()
    session.flush()
    for section in sections:
        report = read_report(session, catalogue, section.course_id, section.term_id)
        if not report.overall:
            continue
        week_after = datetime.combine(section.term.ends + timedelta(weeks=1), time(10), now.tzinfo)
        signature = ReportSignature(
            course_id=section.course_id,
            term_id=section.term_id,
            by_id=head.id,
            name=head.name,
            capacity="Head of the department",
            remarks="Read with the instructors of the course; the findings are entered as actions.",
            figures=figures_hash(report),
            at=min(week_after, now),
        )
        sign_report(session, signature)


ACTIONS = (
    (
        "Most programs do what is asked in the usual run and forget the case that nobody tried.",
        "A second bench hour before the due date, in which partners try each other's programs.",
        "Instructors of AUT 131",
        "Partners found most of these cases before the due date; the bench hour stays.",
    ),
    (
        "Students who start late hand in once and never come back to the verdict.",
        "Set the exercise a week earlier and talk about its commonest mistakes in class.",
        "Course lead of AUT 131",
        "",
    ),
)
