"""Makes stored things for tests: each call one row with sensible values, all of it invented."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cache
from itertools import count
from pathlib import Path
from time import sleep

from sqlalchemy.orm import Session

from server.jobs.worker import Worker
from server.marking.verdict import RequirementVerdict, Status, Verdict
from server.marking.verdict_form import to_json
from server.store.attempts import Submission, SubmissionState
from server.store.courses import Assignment, Course, Enrolment, Section, SectionRole, Term
from server.store.database import Database
from server.store.lti import LtiChoice, LtiContext, LtiLink, Platform
from server.store.people import Role, User, hash_password
from server.store.sessions import Lifetime, begin_session
from server.store.standings import recount
from server.store.submissions import queued, store_verdict

NOON = datetime(2026, 10, 5, 12, tzinfo=UTC)
PASSWORD = "press-house-7"
EXERCISES = Path(__file__).parent / "web" / "exercises"
"""A folder with one small exercise, wash-sump."""

_numbers = count(1)


@dataclass
class Clock:
    """A clock that stands still until it is set."""

    now: datetime

    def __call__(self) -> datetime:
        return self.now


@cache
def password_hash() -> str:
    return hash_password(PASSWORD)


def make_user(session: Session, role: Role = Role.STUDENT, name: str | None = None) -> User:
    number = next(_numbers)
    name = name or f"Person {number}"
    user = User(
        email=f"person{number}@larkmoor.example",
        name=name,
        listed_as=name,
        role=role,
        password_hash=password_hash(),
    )
    session.add(user)
    session.flush()
    return user


def sign_in(session: Session, user: User, now: datetime) -> str:
    """Sign a user in for half a day, idle or not; return the token for the cookie."""
    return begin_session(session, user, now, Lifetime(timedelta(hours=12), timedelta(hours=12)))


def make_section(session: Session, *people: tuple[User, SectionRole]) -> Section:
    number = next(_numbers)
    section = Section(
        course=Course(code=f"AUT {number}", title="Control logic laboratory"),
        term=Term(name=f"Fall {number}", begins=date(2026, 8, 24), ends=date(2026, 12, 18)),
        number="01",
    )
    session.add(section)
    session.flush()
    session.add_all(
        Enrolment(section_id=section.id, user_id=user.id, role=role) for user, role in people
    )
    session.flush()
    return section


def make_assignment(session: Session, section: Section, **columns: object) -> Assignment:
    """Opened a day ago, due in a week."""
    values = {
        "exercise": f"sump-{next(_numbers)}",
        "title": "Apple wash sump",
        "opens_at": NOON - timedelta(days=1),
        "due_at": NOON + timedelta(days=7),
        **columns,
    }
    assignment = Assignment(section_id=section.id, **values)
    session.add(assignment)
    session.flush()
    session.refresh(assignment)
    return assignment


def make_submission(
    session: Session, assignment: Assignment, user: User, attempt: int = 1, **columns: object
) -> Submission:
    values = {
        "program": {"version": 1, "name": f"attempt_{attempt}"},
        "submitted_at": NOON,
        "state": SubmissionState.QUEUED,
        **columns,
    }
    submission = Submission(assignment_id=assignment.id, user_id=user.id, attempt=attempt, **values)
    session.add(submission)
    session.flush()
    recount(session, assignment, [user.id])
    return submission


def make_lti_link(session: Session, assignment: Assignment, teacher: User) -> dict[str, int]:
    """A platform, its course, a link to the assignment and a choice under way; ids by parameter."""
    platform = Platform(
        name="Larkmoor course server",
        issuer="https://lms.larkmoor.example",
        client_id=f"client-{next(_numbers)}",
        login_url="https://lms.larkmoor.example/login",
        token_url="https://lms.larkmoor.example/token",
        keys_url="https://lms.larkmoor.example/keys",
    )
    session.add(platform)
    session.flush()
    context = LtiContext(
        platform_id=platform.id,
        deployment_id="1",
        context_id="aut-131",
        title="AUT 131",
        section_id=assignment.section_id,
        memberships_url="https://lms.larkmoor.example/members",
        opened_by_id=teacher.id,
    )
    session.add(context)
    session.flush()
    link = LtiLink(context_id=context.id, resource_link_id="link-1", assignment_id=assignment.id)
    choice = LtiChoice(
        context_id=context.id,
        user_id=teacher.id,
        return_url="https://lms.larkmoor.example/return",
        takes_line_item=True,
        expires_at=NOON + timedelta(hours=1),
    )
    session.add_all((link, choice))
    session.flush()
    return {
        "platform_id": platform.id,
        "context_id": context.id,
        "link_id": link.id,
        "choice_id": choice.id,
    }


def make_verdict(**statuses: Status) -> Verdict:
    """A verdict with these requirements; a met one has its one point."""
    return Verdict(
        exercise="apple-sump",
        exercise_version=1,
        suite_hash="suite",
        engine_version="engine",
        requirements=tuple(
            RequirementVerdict(
                id=id,
                status=status,
                known_by="3 scenarios" if status is Status.MET else "",
                sentence="",
                score=1.0 if status is Status.MET else 0.0,
                max_score=1.0,
            )
            for id, status in statuses.items()
        ),
    )


def make_marked(
    session: Session,
    assignment: Assignment,
    user: User,
    attempt: int = 1,
    submitted_at: datetime = NOON,
    **statuses: Status,
) -> Submission:
    """A submission with its verdict."""
    submission = make_submission(session, assignment, user, attempt, submitted_at=submitted_at)
    verdict = make_verdict(**statuses)
    assert store_verdict(session, submission.id, verdict, to_json(verdict), NOON)
    session.refresh(submission)
    return submission


def mark_what_waits(worker: Worker, database: Database) -> None:
    """Let a worker mark all that is queued, as far as it can, and stop it."""
    worker.start()
    while True:
        with database.read() as session:
            if all(worker.has_failed(each) for each in queued(session)):
                break
        sleep(0.01)
    worker.stop()
