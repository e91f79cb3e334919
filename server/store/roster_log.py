"""What the log says of changes of a section: who came, who left, who is something else now."""

from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.store.audit import note
from server.store.audit_chain import Action
from server.store.courses import SectionRole
from server.store.people import User
from server.store.roster import RosterChanges


def note_role(
    session: Session,
    section_id: int,
    user_id: int,
    before: SectionRole | None,
    after: SectionRole | None,
    *,
    by_id: int,
    now: datetime,
) -> None:
    """Note what somebody is in the section now; None before or after is not in it."""
    if before is after:
        return
    action = Action.CHANGED_ROLE
    if before is None:
        action = Action.JOINED_SECTION
    elif after is None:
        action = Action.LEFT_SECTION
    detail = f"as {after.value}" if after else ""
    note(session, now, by_id, action, section_id, person_id=user_id, detail=detail)


def note_changes(
    session: Session,
    section_id: int,
    changes: RosterChanges,
    *,
    dropped: bool,
    by_id: int,
    now: datetime,
) -> None:
    """Note what a roster has changed; ``dropped``: who was missing in it has left."""
    joined = {line.email: line.role for line in (*changes.new, *changes.added)}
    ids = dict(session.execute(select(User.email, User.id).where(User.email.in_(joined))).all())
    for email, role in joined.items():
        note_role(session, section_id, ids[email], None, role, by_id=by_id, now=now)
    noted = [(Action.CHANGED_ROLE, user, f"as {line.role.value}") for user, line in changes.moved]
    noted += [(Action.CHANGED_ACCOUNT, user, "name") for user, _ in changes.renamed]
    noted += [(Action.LEFT_SECTION, user, "") for user in changes.missing if dropped]
    for action, user, detail in noted:
        note(session, now, by_id, action, section_id, person_id=user.id, detail=detail)
