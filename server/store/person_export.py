"""Everything that is stored about a person, handed out as JSON data."""

from collections.abc import Iterator
from typing import Any, TypeVar

from sqlalchemy import func, select, union
from sqlalchemy.orm import Session

from server.store.allowances import Accommodation, accommodations_of
from server.store.api_tokens import ApiToken, tokens_of
from server.store.attempts import StoredVerdict, Submission
from server.store.audit_chain import AuditEvent
from server.store.authored import AuthoredExercise, authored_by
from server.store.calendar_links import CalendarLink
from server.store.comment_snippets import CommentSnippet
from server.store.correction_requests import CorrectionRequest, requests_by
from server.store.corrections import Excuse, Override, RungComment
from server.store.courses import Assignment, Enrolment, Extension, Partner, Section
from server.store.disclosures import MAX_DISCLOSURES, disclosures_of
from server.store.hand_marks import results_by_hand
from server.store.lti import LtiMember, LtiPerson, OutgoingScore, Platform
from server.store.mail_outbox import OutgoingMail, turned_off
from server.store.openid import OpenIdPerson
from server.store.people import User, get_person
from server.store.programs import ProgramStep, WorkingProgram
from server.store.second_factors import has_factor
from server.store.sessions import BrowserSession
from server.store.sittings import Sitting
from server.store.standings import CountingAttempt
from server.store.trials import SavedTrial
from server.store.versions import NamedVersion

OfAssignment = TypeVar(
    "OfAssignment", NamedVersion, CountingAttempt, Override, Excuse, Extension, Sitting
)


def export_person(session: Session, user_id: int) -> dict[str, Any]:
    """Return everything that is stored about a person; of the password there is no word."""
    user = get_person(session, user_id)
    return {
        **_account(session, user),
        **_programs(session, user_id),
        "submissions": [
            _submission(session, each)
            for each in session.scalars(
                select(Submission).where(Submission.user_id == user_id).order_by(Submission.id)
            )
        ],
        **_results(session, user_id),
        **_other_systems(session, user_id),
        **_signing_in(session, user_id),
        **_with_others(session, user_id),
        "API tokens": [
            {
                "name": row.name,
                "scopes": row.scope_words,
                "made": row.made_at.isoformat(),
                "ends": row.expires_at.isoformat(),
            }
            for row in tokens_of(session, user_id)
        ],
        "mails about course work": [
            {
                "kind": row.kind.value,
                "exercise": row.assignment.title,
                "made": row.made_at.isoformat(),
                "state": row.state.value,
            }
            for row in session.scalars(
                select(OutgoingMail)
                .where(OutgoingMail.user_id == user_id)
                .order_by(OutgoingMail.id)
            )
        ],
        "mails turned off": sorted(kind.value for kind in turned_off(session, user_id)),
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


_COUNTED = {
    "Sections": Enrolment.user_id,
    "Programs in work": WorkingProgram.user_id,
    "Named versions": NamedVersion.user_id,
    "Submissions": Submission.user_id,
    "Points set by hand": Override.user_id,
    "Excuses": Excuse.user_id,
    "Comment snippets": CommentSnippet.user_id,
    "Extensions": Extension.user_id,
    "Accommodations": Accommodation.user_id,
    "Sittings in supervised labs": Sitting.user_id,
    "Pairs": Partner.user_id,
    "Saved trial runs": SavedTrial.user_id,
    "Exercises written": AuthoredExercise.owner_id,
    "Browsers signed in": BrowserSession.user_id,
    "API tokens": ApiToken.user_id,
    "Calendar links": CalendarLink.user_id,
    "Mails about course work": OutgoingMail.user_id,
    "Sign-in providers": OpenIdPerson.user_id,
    "Accounts at learning-management systems": LtiPerson.user_id,
    "Corrections asked for": CorrectionRequest.user_id,
}


def summarize_person(session: Session, user_id: int) -> dict[str, int]:
    """Return how many entries of each kind are stored about a person."""
    counts = (
        select(func.count()).where(column == user_id).scalar_subquery()
        for column in _COUNTED.values()
    )
    return dict(zip(_COUNTED, session.execute(select(*counts)).one(), strict=True))


def _with_others(session: Session, user_id: int) -> dict[str, Any]:
    """Return what ties the person to others, what they wrote for others, and who saw their data."""
    return {
        "pairs": [
            {"exercise": title, "partner": name}
            for title, name in session.execute(
                select(Assignment.title, User.name)
                .join(Partner, Partner.assignment_id == Assignment.id)
                .join(User, User.id == Partner.partner_id)
                .where(Partner.user_id == user_id)
            )
        ],
        "exercises written": [
            {"exercise": each.slug, "text": each.text, "programs": each.programs}
            for each in authored_by(session, user_id)
        ],
        "corrections asked for": [
            {
                "section": each.section.title,
                "asked": each.asked_at.isoformat(),
                "text": each.text,
                "answer": each.answer,
            }
            for each in requests_by(session, user_id)
        ],
        "who saw it": [
            {
                "at": line.at.isoformat(),
                "who": who,
                "what": line.action.value,
                "section": section,
                "exercise": title,
            }
            for line, who, section, title in disclosures_of(session, user_id, MAX_DISCLOSURES)
        ],
    }


def _by_exercise(
    session: Session, table: type[OfAssignment], user_id: int
) -> Iterator[tuple[str, OfAssignment]]:
    """Yield the rows of a person in a table about assignments, each after its exercise's title."""
    for row, title in session.execute(
        select(table, Assignment.title)
        .join(Assignment, Assignment.id == table.assignment_id)
        .where(table.user_id == user_id)
    ):
        yield title, row


def _account(session: Session, user: User) -> dict[str, Any]:
    """Return who the person is, and in which sections."""
    return {
        "person": {
            "name": user.name,
            "listed as": user.listed_as,
            "student number": user.student_number,
            "email": user.email,
            "role": user.role.value,
            "account made by": user.origin.value,
            "address confirmed": user.confirmed,
            "legal hold": user.legal_hold,
        },
        "sections": [
            {"section": section.title, "term": section.term.name, "role": role.value}
            for section, role in session.execute(
                select(Section, Enrolment.role).join(Enrolment).where(Enrolment.user_id == user.id)
            )
        ],
    }


def _programs(session: Session, user_id: int) -> dict[str, Any]:
    """Return the programs that the person works on, and the versions they saved."""
    return {
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
            for title, row in _by_exercise(session, NamedVersion, user_id)
        ],
    }


def _submission(session: Session, submission: Submission) -> dict[str, Any]:
    """Return an attempt with its verdict and comments."""
    return {
        "exercise": submission.assignment.title,
        "attempt": submission.attempt,
        "submitted": submission.submitted_at.isoformat(),
        "program": submission.program,
        "points": submission.verdict.points if submission.verdict else None,
        "out of": submission.verdict.max_score if submission.verdict else None,
        "requirements": _requirements(submission.verdict),
        "set by hand": [
            {
                "requirement": name,
                "share of its points": row.share,
                "reason": row.reason,
            }
            for name, row in results_by_hand(session, submission.id).items()
        ],
        "comments": [
            {
                "rung": None if each.rung is None else each.rung + 1,
                "text": each.text,
                "by": each.by.name if each.by else "erased",
            }
            for each in session.scalars(
                select(RungComment).where(RungComment.submission_id == submission.id)
            )
        ],
    }


def _results(session: Session, user_id: int) -> dict[str, Any]:
    """Return what counts for the person, and what was set for them alone."""
    return {
        "standings": [
            {"exercise": title, "points": row.points, "days late": row.days_late}
            for title, row in _by_exercise(session, CountingAttempt, user_id)
        ],
        "points set by hand": [
            {"exercise": title, "points": row.points, "reason": row.reason}
            for title, row in _by_exercise(session, Override, user_id)
        ],
        "excused": [
            {"exercise": title, "reason": row.reason}
            for title, row in _by_exercise(session, Excuse, user_id)
        ],
        "accommodations": [
            {
                "time": each.time_factor,
                "more days": each.extra_days,
                "more attempts": each.extra_attempts,
                "from": each.begins_at.isoformat(),
                "until": each.ends_at.isoformat(),
                "note": each.note,
            }
            for each in accommodations_of(session, user_id)
        ],
        "more time": [
            {"exercise": title, "due": row.due_at.isoformat(), "reason": row.reason}
            for title, row in _by_exercise(session, Extension, user_id)
        ],
        "supervised labs": [
            {
                "exercise": title,
                "seat": row.seat,
                "began": row.begun_at.isoformat(),
                "ended": row.ends_at.isoformat(),
                "last heard of": row.seen_at.isoformat(),
            }
            for title, row in _by_exercise(session, Sitting, user_id)
        ],
    }


def _other_systems(session: Session, user_id: int) -> dict[str, Any]:
    """Return what other systems know of the person, and their names for them."""
    return {
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
    }


def _signing_in(session: Session, user_id: int) -> dict[str, Any]:
    """Return where the person is signed in, and whether a code is asked for."""
    return {
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
    }


def _requirements(verdict: StoredVerdict | None) -> list[dict[str, Any]]:
    """Status and points of each; the evidence of hidden scenarios is not the student's."""
    if verdict is None:
        return []
    return [
        {"id": each["id"], "status": each["status"], "points": each["score"]}
        for each in verdict.document["requirements"]
    ]
