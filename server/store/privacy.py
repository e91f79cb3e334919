"""A person's data: all of it handed out, or all of it erased."""

from datetime import datetime
from typing import Any

from sqlalchemy import delete, func, select, union, update
from sqlalchemy.orm import Session

from server.store.attempts import StoredVerdict, Submission
from server.store.audit import note
from server.store.audit_chain import Action, AuditEvent, forget_details
from server.store.author_sandbox import delete_sandbox
from server.store.authored import transfer_exercises
from server.store.corrections import Override, RungComment
from server.store.courses import Assignment, Enrolment, Extension, Partner, Section
from server.store.lti import LtiMember, LtiPerson, OutgoingScore, Platform
from server.store.openid import OpenIdPerson
from server.store.people import User
from server.store.programs import ProgramStep, WorkingProgram, lock_work
from server.store.second_factors import has_factor
from server.store.section_roles import only_instructor_in
from server.store.sessions import BrowserSession
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
            "account made by": user.origin.value,
            "address confirmed": user.confirmed,
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
                union(
                    *(
                        select(Platform.name, each.subject)
                        .join(each, each.platform_id == Platform.id)
                        .where(each.user_id == user_id)
                        for each in (LtiPerson, LtiMember)
                    )
                )
            )
        ],
        "grades for learning-management systems": [
            {
                "exercise": row.link.assignment.title if row.link.assignment else "",
                "requirement": row.requirement,
                "points": row.points,
                "out of": row.max_points,
                "comment": row.comment,
                "made": row.made_at.isoformat(),
                "sent": row.sent_version == row.version,
            }
            for row in session.scalars(
                select(OutgoingScore)
                .where(OutgoingScore.user_id == user_id)
                .order_by(OutgoingScore.id)
            )
        ],
        "browsers signed in": [
            {
                "browser": each.browser,
                "address": each.address,
                "signed in": each.begun_at.isoformat(),
                "last used": each.seen_at.isoformat(),
            }
            for each in session.scalars(
                select(BrowserSession)
                .where(BrowserSession.user_id == user_id)
                .order_by(BrowserSession.begun_at)
            )
        ],
        "second factor": has_factor(session, user_id),
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


def erasure_refusal(session: Session, user_id: int) -> str:
    """Return the sentence that keeps a person from being erased; empty if nothing does."""
    sections = only_instructor_in(session, user_id)
    if not sections:
        return ""
    named = ", ".join(f"{each.title} ({each.term.name})" for each in sections[:5])
    more = f" and {len(sections) - 5} more" if len(sections) > 5 else ""
    return (
        f"Nothing was erased. This person is the only instructor of {named}{more}. "
        "Add another instructor on the roster first."
    )


def erase_person(
    session: Session,
    user_id: int,
    *,
    by_id: int,
    now: datetime,
    successor_id: int | None = None,
) -> None:
    """Delete a person and their work; nothing that is anybody else's changes.

    What they published goes to the successor, to the college if None. What they submitted as one of
    a pair stays with the partner. The log keeps what was done, but not to whom.
    """
    note(session, now, by_id, Action.ERASED_PERSON, person_id=user_id)
    left = _leave_to_partners(session, user_id)
    transfer_exercises(session, user_id, successor_id)
    delete_sandbox(session, user_id)
    # What was written down about them may name them.
    forget_details(session, session.get_one(User, user_id).log_id)
    session.execute(delete(User).where(User.id == user_id))
    session.expire_all()
    for assignment, partner_id in left:
        recount(session, assignment, [partner_id])


def _leave_to_partners(session: Session, user_id: int) -> list[tuple[Assignment, int]]:
    """Make the attempts of each pair the partner's; return where, and who that is.

    They get the numbers after the partner's own, which stay as they are.
    """
    left = []
    for assignment, partner_id in session.execute(
        select(Assignment, Partner.partner_id)
        .join(Partner, Partner.assignment_id == Assignment.id)
        .where(Partner.user_id == user_id, Assignment.in_pairs)
    ).all():
        for each in sorted((user_id, partner_id)):
            lock_work(session, assignment, each)
        at_it = Submission.assignment_id == assignment.id
        last = session.scalar(
            select(func.max(Submission.attempt)).where(at_it, Submission.user_id == partner_id)
        )
        session.execute(
            update(Submission)
            .where(at_it, Submission.user_id == user_id)
            .values(user_id=partner_id, attempt=Submission.attempt + (last or 0))
            .execution_options(synchronize_session=False)
        )
        left.append((assignment, partner_id))
    return left


def _requirements(verdict: StoredVerdict | None) -> list[dict[str, Any]]:
    """Status and points of each; the evidence of hidden scenarios is not the student's."""
    if verdict is None:
        return []
    return [
        {"id": each["id"], "status": each["status"], "points": each["score"]}
        for each in verdict.document["requirements"]
    ]
