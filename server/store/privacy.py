"""A person's data: all of it handed out, or all of it erased."""

from datetime import datetime
from typing import Any

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from server.store.attempts import StoredVerdict, Submission
from server.store.audit import note
from server.store.audit_chain import Action, AuditEvent, forget_details
from server.store.corrections import Override, RungComment
from server.store.courses import Assignment, Enrolment, Extension, Partner, Section, find_assignment
from server.store.lti import LtiPerson, OutgoingScore, Platform
from server.store.openid import OpenIdPerson
from server.store.people import User
from server.store.programs import ProgramStep, WorkingProgram
from server.store.standings import CountingAttempt, recount
from server.store.trials import SavedTrial
from server.store.versions import NamedVersion


def export_person(session: Session, user_id: int) -> dict[str, Any]:
    """Everything that is stored about a person, as JSON data; of the password there is no word."""
    user = session.get_one(User, user_id)
    return {
        "person": {
            "name": user.name,
            "listed as": user.listed_as,
            "email": user.email,
            "role": user.role.value,
        },
        "sections": [
            {"section": section.title, "term": section.term.name, "role": role.value}
            for section, role in session.execute(
                select(Section, Enrolment.role).join(Enrolment).where(Enrolment.user_id == user_id)
            )
        ],
        "programs in work": [
            {"exercise": title, "saved": at.isoformat(), "program": program}
            for title, at, program in session.execute(
                select(Assignment.title, WorkingProgram.saved_at, ProgramStep.program)
                .join(WorkingProgram, WorkingProgram.assignment_id == Assignment.id)
                .join(
                    ProgramStep,
                    (ProgramStep.working_program_id == WorkingProgram.id)
                    & (ProgramStep.position == WorkingProgram.position),
                )
                .where(WorkingProgram.user_id == user_id)
            )
        ],
        "versions with names": [
            {"exercise": title, "name": row.name, "saved": row.saved_at.isoformat()}
            | {"program": row.program}
            for row, title in session.execute(
                select(NamedVersion, Assignment.title)
                .join(Assignment, Assignment.id == NamedVersion.assignment_id)
                .where(NamedVersion.user_id == user_id)
            )
        ],
        "submissions": [
            {
                "exercise": submission.assignment.title,
                "attempt": submission.attempt,
                "submitted": submission.submitted_at.isoformat(),
                "program": submission.program,
                "points": submission.verdict.score if submission.verdict else None,
                "out of": submission.verdict.max_score if submission.verdict else None,
                "requirements": _requirements(submission.verdict),
                "comments": [
                    {"rung": each.rung and each.rung + 1, "text": each.text}
                    for each in session.scalars(
                        select(RungComment).where(RungComment.submission_id == submission.id)
                    )
                ],
            }
            for submission in session.scalars(
                select(Submission).where(Submission.user_id == user_id).order_by(Submission.id)
            )
        ],
        "standings": [
            {"exercise": title, "points": row.points, "days late": row.days_late}
            for row, title in session.execute(
                select(CountingAttempt, Assignment.title)
                .join(Assignment, Assignment.id == CountingAttempt.assignment_id)
                .where(CountingAttempt.user_id == user_id)
            )
        ],
        "points set by hand": [
            {"exercise": title, "points": row.points, "reason": row.reason}
            for row, title in session.execute(
                select(Override, Assignment.title)
                .join(Assignment, Assignment.id == Override.assignment_id)
                .where(Override.user_id == user_id)
            )
        ],
        "more time": [
            {"exercise": title, "due": row.due_at.isoformat(), "reason": row.reason}
            for row, title in session.execute(
                select(Extension, Assignment.title)
                .join(Assignment, Assignment.id == Extension.assignment_id)
                .where(Extension.user_id == user_id)
            )
        ],
        "sign-in providers": [
            {"issuer": person.issuer, "subject": person.subject}
            for person in session.scalars(
                select(OpenIdPerson).where(OpenIdPerson.user_id == user_id)
            )
        ],
        "learning-management systems": [
            {"name": name, "subject": subject}
            for name, subject in session.execute(
                select(Platform.name, LtiPerson.subject)
                .join(LtiPerson, LtiPerson.platform_id == Platform.id)
                .where(LtiPerson.user_id == user_id)
            )
        ],
        "grades for learning-management systems": [
            {
                "exercise": row.link.assignment.title if row.link.assignment else "",
                "requirement": row.requirement,
                "points": row.points,
                "out of": row.max_points,
                "made": row.made_at.isoformat(),
                "sent": row.sent_version == row.version,
            }
            for row in session.scalars(
                select(OutgoingScore)
                .where(OutgoingScore.user_id == user_id)
                .order_by(OutgoingScore.id)
            )
        ],
        "recorded trial runs": [
            {"name": row.name, "saved": row.saved_at.isoformat(), "run": row.run}
            for row in session.scalars(select(SavedTrial).where(SavedTrial.user_id == user_id))
        ],
        "log": [
            {"at": row.at.isoformat(), "what": row.action.value, "detail": row.detail}
            for row in session.scalars(
                select(AuditEvent)
                .where(AuditEvent.person == user.log_id)
                .order_by(AuditEvent.number)
            )
        ],
    }


def erase_person(session: Session, user_id: int, *, by_id: int, now: datetime) -> None:
    """Delete a person and all their work; the log keeps what was done, but not to whom."""
    left = session.execute(
        select(Partner.assignment_id, Partner.partner_id).where(Partner.user_id == user_id)
    ).all()
    note(session, now, by_id, Action.ERASED_PERSON, person_id=user_id)
    # What was written down about them may name them.
    forget_details(session, session.get_one(User, user_id).log_id)
    session.execute(delete(User).where(User.id == user_id))
    session.expire_all()
    for assignment_id, partner_id in left:
        assignment = find_assignment(session, assignment_id)
        if assignment is not None:
            recount(session, assignment, [partner_id])


def _requirements(verdict: StoredVerdict | None) -> list[dict[str, Any]]:
    """Status and points of each; the evidence of hidden scenarios is not the student's."""
    if verdict is None:
        return []
    return [
        {"id": each["id"], "status": each["status"], "points": each["score"]}
        for each in verdict.document["requirements"]
    ]
