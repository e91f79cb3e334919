"""The log: who looked at grades, who changed them, and who opened or closed a door.

To note an event, call ``note`` in the unit of work that makes the change::

    note(session, now, visitor.id, Action.MADE_LINK, section_id, person_id=user.id)

It is stored with the change or not at all. The line gets its place in the chain
(``audit_chain.py``) at the commit, after all else that the unit of work does, so that units which
write to the log wait for each other only while they commit, and never the other way round for
something else. Two rules: not inside a savepoint, and a person who is erased is noted before the
row is gone. ``detail`` is for what the other columns don't say; it goes when the person whom the
line is about is erased, so nobody else's name belongs into it, and no password, code or link ever.
A new word goes into ``Action``; it needs no migration.
"""

from datetime import datetime, timedelta

from sqlalchemy import ScalarSelect, event, select
from sqlalchemy.orm import Session

from server.store.audit_chain import Action, AuditEvent, Entry, append
from server.store.people import User

SEEING = frozenset(
    {
        Action.SAW_GRADEBOOK,
        Action.SAW_STUDENT,
        Action.SAW_SUBMISSION,
        Action.SAW_LIKENESS,
        Action.SAW_DIAGNOSIS,
        Action.WATCHED_RUN,
    }
)

ONE_LOOK = timedelta(minutes=10)
"""Looks at the same thing within this time are one line."""

LONGEST_DETAIL = 200

_NOTED = "noted events"
"""Key of what a session has to append to the log when it commits."""


def note(
    session: Session,
    now: datetime,
    actor_id: int | None,
    action: Action,
    section_id: int | None = None,
    *,
    assignment_id: int | None = None,
    person_id: int | None = None,
    detail: str = "",
) -> None:
    """Write a line at the commit; a look at what the same person has just seen is not repeated.

    ``actor_id`` is None when nobody is signed in.
    """
    assert not session.in_nested_transaction(), "a savepoint that is rolled back can't take it back"
    if action in SEEING and _seen(
        session, now, actor_id, action, section_id, assignment_id, person_id
    ):
        return
    log_ids: dict[int | None, str] = dict(
        session.execute(
            select(User.id, User.log_id).where(User.id.in_({actor_id, person_id} - {None}))
        ).all()
    )
    entry = Entry(
        at=now,
        actor=log_ids.get(actor_id),
        person=log_ids.get(person_id),
        section_id=section_id,
        assignment_id=assignment_id,
        action=action,
        detail=detail[:LONGEST_DETAIL],
    )
    session.info.setdefault(_NOTED, []).append(entry)


def _seen(
    session: Session,
    now: datetime,
    actor_id: int | None,
    action: Action,
    section_id: int | None,
    assignment_id: int | None,
    person_id: int | None,
) -> bool:
    """Return whether it is in the log already; one statement, since most looks are."""
    query = select(AuditEvent.number).where(
        AuditEvent.at > now - ONE_LOOK,
        AuditEvent.actor == _log_id(actor_id),
        AuditEvent.action == action,
        AuditEvent.section_id == section_id,
        AuditEvent.assignment_id == assignment_id,
        AuditEvent.person == _log_id(person_id),
    )
    return session.scalar(query.limit(1)) is not None


def _log_id(user_id: int | None) -> ScalarSelect[str] | None:
    return (
        None if user_id is None else select(User.log_id).where(User.id == user_id).scalar_subquery()
    )


@event.listens_for(Session, "before_commit")
def _append_noted(session: Session) -> None:
    # The end of a savepoint is a commit to the session, too.
    if _NOTED in session.info and not session.in_nested_transaction():
        append(session, session.info.pop(_NOTED))


@event.listens_for(Session, "after_rollback")
def _forget_noted(session: Session) -> None:
    session.info.pop(_NOTED, None)
