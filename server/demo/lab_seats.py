"""The demo's supervised lab: it is on while the demo is loaded, and half of the class is in it."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from server.demo.people import STUDENT
from server.demo.work import MarkedProgram
from server.store.assignment_policy import Policy
from server.store.attempts import Submission
from server.store.courses import Assignment
from server.store.people import User
from server.store.programs import save_program
from server.store.sittings import Sitting
from server.store.submissions import store_verdict, submit
from server.store.supervised_labs import begin_sitting, close_sitting, end_sitting

MINUTES = 90
SINCE = timedelta(minutes=35)
"""So long ago the lab opened."""

SEATS = ("A1", "A2", "A3", "B1", "B2", "B2")
"""Two say that they sit at the same place; the last one but two lost the connection."""

LOST = 3


def lab_policy(now: datetime) -> Policy:
    """Return the policy of a lab whose window ends this evening, six hours from now."""
    opens, closes = now - SINCE, now + timedelta(hours=6)
    return Policy(
        opens_at=opens,
        due_at=closes,
        closes_at=closes,
        attempts=3,
        feedback_after_due=True,
        sitting_minutes=MINUTES,
    )


def fill_lab(
    session: Session,
    lab: Assignment,
    students: Sequence[User],
    programs: Sequence[MarkedProgram],
    now: datetime,
) -> None:
    """Let students take their seats; the first is done already, the others work on something.

    The student whose account the demo tells is still to come.
    """
    if not programs:
        return
    coming = [each for each in students if each.email != STUDENT]
    for place, (student, seat) in enumerate(zip(coming, SEATS, strict=False)):
        at = now - SINCE + timedelta(minutes=2 + place)
        sitting = begin_sitting(session, lab.id, student.id, "demo", lab.pass_code or "", seat, at)
        assert isinstance(sitting, Sitting), sitting
        work = programs[-1] if place == 0 else programs[place % len(programs)]
        saved = at + timedelta(minutes=10 + place)
        save_program(
            *(session, lab, student.id, work.program), revision=0, start=work.program, now=saved
        )
        if place % 2 == 0:
            taken = submit(session, lab, student.id, work.program, saved)
            assert isinstance(taken, Submission), taken
            store_verdict(session, taken.id, work.verdict, work.document, saved)
        sitting.seen_at = saved if place == LOST else now
        if place == 0:
            end_sitting(session, lab, student.id, saved)
            close_sitting(session, lab.id, student.id, None, now, revision=1)
