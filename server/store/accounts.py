"""What an administrator does to accounts: add, disable them, change names, addresses, ways in.

``by_id`` is None where it is done on the server's own command line.
"""

from collections.abc import Collection, Iterable
from datetime import datetime

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from server.store.addresses import claim_address
from server.store.audit import note
from server.store.audit_chain import Action
from server.store.lti import LtiPerson
from server.store.openid import OpenIdPerson
from server.store.passwords import PasswordLink
from server.store.people import Origin, Role, User, find_user
from server.store.roster_file import RosterLine, sorted_name
from server.store.second_factors import drop_factor
from server.store.sessions import end_sessions_of, forget_browsers


def add_account(
    session: Session, email: str, name: str, role: Role, *, by_id: int | None, now: datetime
) -> tuple[User, bool] | None:
    """Make an account; return it, and whether an unconfirmed one with its address was there.

    That one becomes this person's: whoever made it is shut out. Return None, and change nothing, if
    a confirmed account has the address, which is to be normal (``normal_email``).
    """
    user = find_user(session, email)
    taken = user is not None
    if user is None:
        user = User(email=email)
        session.add(user)
    elif user.confirmed:
        return None
    else:
        claim_address(session, user, now, by_id=by_id)
        user.origin, user.origin_section_id = Origin.ADMINISTRATOR, None
    user.name, user.listed_as, user.role = name, sorted_name(name), role
    session.flush()
    action = Action.CHANGED_ACCOUNT if taken else Action.ADDED_ACCOUNT
    note(session, now, by_id, action, person_id=user.id, detail=_by(by_id, f"as {role.value}"))
    return user, taken


def add_accounts(
    session: Session, lines: Iterable[RosterLine], *, by_id: int, now: datetime
) -> tuple[int, int]:
    """Make an account for each of these people who has none; how many were made, how many had one.

    Accounts that are there keep their names and roles.
    """
    made = had = 0
    for line in lines:
        added = add_account(session, line.email, line.name, line.college_role, by_id=by_id, now=now)
        if added is None:
            had += 1
            continue
        user, _ = added
        user.listed_as, user.student_number = line.listed_as, line.number or None
        made += 1
    session.flush()
    return made, had


def rename(
    session: Session, user: User, name: str, listed_as: str, *, by_id: int, now: datetime
) -> None:
    """Change a name; ``listed_as`` follows from it where it is empty."""
    user.name, user.listed_as = name, listed_as or sorted_name(name)
    note(session, now, by_id, Action.CHANGED_ACCOUNT, person_id=user.id, detail="name")


def permit_names(
    session: Session, user: User, permitted: bool, *, by_id: int, now: datetime
) -> None:
    """Let a member of the department see whose work the figures rest on, or no longer."""
    user.sees_names = permitted and user.role is Role.DEPARTMENT
    detail = "sees names" if user.sees_names else "sees no names"
    note(session, now, by_id, Action.CHANGED_ROLE, person_id=user.id, detail=detail)


def change_address(session: Session, user: User, email: str, *, by_id: int, now: datetime) -> bool:
    """Give an account another address, which is to be normal (``normal_email``).

    The administrator stands for it that the address is the owner's: an unconfirmed account goes to
    them as if they had come with it. Return False, and change nothing, if an account has it.
    """
    if find_user(session, email) is not None:
        return False
    detail, user.email = f"address, was {user.email}", email
    session.flush()
    claim_address(session, user, now, by_id=by_id)
    note(session, now, by_id, Action.CHANGED_ACCOUNT, person_id=user.id, detail=detail)
    return True


def connected(session: Session, user_ids: Collection[int]) -> set[int]:
    """Return those of these users whom an LMS or an OpenID provider signs in."""
    by_lms = select(LtiPerson.user_id).where(LtiPerson.user_id.in_(user_ids))
    by_openid = select(OpenIdPerson.user_id).where(OpenIdPerson.user_id.in_(user_ids))
    return set(session.scalars(by_lms.union(by_openid)))


def disconnect(session: Session, user: User, *, by_id: int, now: datetime) -> None:
    """Let no LMS or provider sign in to the account, until its owner comes from there again."""
    for table in (LtiPerson, OpenIdPerson):
        session.execute(delete(table).where(table.user_id == user.id))
    note(session, now, by_id, Action.CHANGED_SIGN_IN, person_id=user.id, detail="disconnected")
    end_sessions_of(session, user.id)
    forget_browsers(session, user.id)


def remove_factor(session: Session, user: User, *, by_id: int | None, now: datetime) -> None:
    """Ask for no code any more from somebody who lost phone and recovery codes."""
    drop_factor(session, user.id)
    detail = _by(by_id, "second factor removed")
    note(session, now, by_id, Action.CHANGED_SIGN_IN, person_id=user.id, detail=detail)
    end_sessions_of(session, user.id)


def disable_account(session: Session, user: User, *, by_id: int | None, now: datetime) -> None:
    """Let nobody sign in to the account from now on; its work is kept."""
    user.disabled_at = user.disabled_at or now
    detail = _by(by_id, "disabled")
    note(session, now, by_id, Action.CHANGED_SIGN_IN, person_id=user.id, detail=detail)
    end_sessions_of(session, user.id)
    forget_browsers(session, user.id)
    session.execute(delete(PasswordLink).where(PasswordLink.user_id == user.id))


def enable_account(session: Session, user: User, *, by_id: int | None, now: datetime) -> None:
    """Let the owner of a disabled account sign in again."""
    user.disabled_at = None
    detail = _by(by_id, "enabled")
    note(session, now, by_id, Action.CHANGED_SIGN_IN, person_id=user.id, detail=detail)


def _by(by_id: int | None, detail: str) -> str:
    return detail if by_id is not None else f"{detail} by command"
