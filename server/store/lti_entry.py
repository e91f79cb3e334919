"""Coming in from a learning-management system: the sign-in, the account, the section, the link.

A platform's word makes accounts of students and instructors. It opens an account that was here
before only if that is a student's without a password; any other has to be shown to be one's own
once, by signing in to it.
"""

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from server.store.addresses import claim_address
from server.store.courses import (
    HANDING_IN,
    Assignment,
    SectionRole,
    assignments_of,
    find_assignment,
    role_in_section,
)
from server.store.database import Document
from server.store.lti import (
    Deployment,
    LtiContext,
    LtiLink,
    LtiLogin,
    LtiMember,
    LtiPerson,
    Platform,
)
from server.store.lti_roles import LmsSource, follow, withdraw
from server.store.openid import is_connected
from server.store.people import (
    OVERSEEING,
    Origin,
    Role,
    User,
    find_user,
    lock_accounts,
    normal_email,
)
from server.store.roster_file import EMAIL, sorted_name

LOGIN_LASTS = timedelta(minutes=10)


@dataclass(frozen=True, slots=True)
class LaunchUser:
    """Who comes, as the platform says; texts are empty where it says nothing."""

    subject: str
    role: SectionRole
    name: str
    listed_as: str
    email: str


@dataclass(frozen=True, slots=True)
class PlatformCourse:
    """From which of the platform's courses."""

    deployment_id: str
    context_id: str
    title: str
    memberships_url: str | None


@dataclass(frozen=True, slots=True)
class PlatformLink:
    """Through which of its links, and what is known of it; ``assignment_id`` was chosen before.

    The histories are ids of the courses and links from which these were copied, the newest first.
    """

    resource_link_id: str
    title: str
    assignment_id: int | None
    line_item: str | None
    line_items: str | None
    context_history: tuple[str, ...] = ()
    link_history: tuple[str, ...] = ()


class ProofNeeded(Exception):
    """The account was here before: its owner has to sign in to it once."""


class NotYet(Exception):
    """What is missing before somebody can come in; the text says what, and what to do about it."""


def platforms_of(session: Session, issuer: str, client_id: str) -> list[Platform]:
    """Return the platforms of an issuer; one at most if the client id is known (not empty)."""
    query = select(Platform).where(Platform.issuer == issuer).order_by(Platform.id)
    if client_id:
        query = query.where(Platform.client_id == client_id)
    return list(session.scalars(query))


def knows_deployment(session: Session, platform_id: int, deployment_id: str) -> bool:
    return session.get(Deployment, (platform_id, deployment_id)) is not None


def begin_login(
    session: Session, platform: Platform, now: datetime, storage_target: str = ""
) -> tuple[str, str]:
    """Return state and nonce of a new sign-in; only the hash of the state is stored.

    ``storage_target`` is the platform's frame that keeps the state where cookies are refused.
    """
    session.execute(delete(LtiLogin).where(LtiLogin.expires_at <= now))
    state, nonce = secrets.token_urlsafe(32), secrets.token_urlsafe(32)
    session.add(
        LtiLogin(
            state_hash=_hash(state),
            platform_id=platform.id,
            nonce=nonce,
            expires_at=now + LOGIN_LASTS,
            storage_target=storage_target,
        )
    )
    return state, nonce


def find_login(
    session: Session, state: str, now: datetime, *, lock: bool = False
) -> LtiLogin | None:
    """Return a sign-in that has begun and is not too old.

    Locked, it is nobody else's for a moment.
    """
    login = session.get(LtiLogin, _hash(state), with_for_update=lock or None)
    return login if login is not None and login.expires_at > now else None


def end_login(session: Session, login: LtiLogin) -> None:
    """Delete a sign-in whose browser has come, so that nothing else can use it."""
    session.delete(login)


def use_nonce(session: Session, state: str, launch: Document, now: datetime) -> bool:
    """Keep the launch for the browser that began it; False if another one came before."""
    login = find_login(session, state, now, lock=True)
    if login is None or login.launch is not None:
        return False
    login.launch = launch
    return True


def account_of(
    session: Session, platform: Platform, comer: LaunchUser, visitor_id: int | None, now: datetime
) -> User:
    """Return the account of who comes, made if missing; ``visitor_id`` is who is signed in.

    Raises ProofNeeded and NotYet.
    """
    lock_accounts(session)
    known = session.get(LtiPerson, (platform.id, comer.subject))
    email = normal_email(comer.email)
    email = email if EMAIL.fullmatch(email) and len(email) <= 254 else ""
    if known is not None:
        user: User | None = session.get_one(User, known.user_id)
    else:
        user = find_user(session, email) if email else None
    if user is not None and user.role in OVERSEEING:
        raise NotYet(
            f"The account {user.email} oversees courses and is not opened from outside. "
            "Sign in here with its password."
        )
    if user is not None and known is None:
        if not _is_theirs(session, platform, user, visitor_id):
            raise ProofNeeded
        claim_address(session, user, now)
    if user is None:
        user = _new_account(session, platform, comer, email)
    if known is None:
        # What its roster said of them is no longer needed.
        session.execute(
            delete(LtiMember).where(
                LtiMember.platform_id == platform.id, LtiMember.subject == comer.subject
            )
        )
        session.add(LtiPerson(platform_id=platform.id, subject=comer.subject, user_id=user.id))
    session.flush()
    return user


def _is_theirs(session: Session, platform: Platform, user: User, visitor_id: int | None) -> bool:
    if user.id == visitor_id:
        return True
    # A platform that gives one address to two people is not believed the second time.
    linked = select(LtiPerson.subject).where(
        LtiPerson.platform_id == platform.id, LtiPerson.user_id == user.id
    )
    # Nobody has shown yet that the password of an unconfirmed account is its owner's.
    unused = user.password_hash is None or not user.confirmed
    if not unused or user.role is not Role.STUDENT or is_connected(session, user.id):
        return False
    return session.scalar(linked.limit(1)) is None


def _new_account(session: Session, platform: Platform, comer: LaunchUser, email: str) -> User:
    name = comer.name or "Somebody without a name"
    # A platform may keep addresses to itself; .invalid is nobody's (RFC 2606).
    unknown = f"{_hash(comer.subject)[:16]}@lms-{platform.id}.invalid"
    teaches = comer.role is SectionRole.INSTRUCTOR
    user = User(
        email=email or unknown,
        name=name,
        listed_as=comer.listed_as or sorted_name(name),
        role=Role.INSTRUCTOR if teaches else Role.STUDENT,
        origin=Origin.LMS,
    )
    session.add(user)
    session.flush()
    return user


def context_of(
    session: Session, platform: Platform, course: PlatformCourse, comer: LaunchUser
) -> LtiContext:
    """Return the platform's course as it is known here; only an instructor brings a new one.

    Raises NotYet.
    """
    context = _find_context(session, platform, course)
    if comer.role is not SectionRole.INSTRUCTOR and (context is None or not context.section_id):
        raise NotYet(
            f"{course.title} is not connected with a section here yet. "
            "Its instructor opens this link once and chooses the section."
        )
    if context is None:
        context = LtiContext(
            platform_id=platform.id,
            deployment_id=course.deployment_id,
            context_id=course.context_id,
        )
        session.add(context)
    context.title = course.title
    context.memberships_url = course.memberships_url or context.memberships_url
    return context


def apply_role(
    session: Session,
    platform: Platform,
    course: PlatformCourse,
    subject: str,
    role: SectionRole | None,
    now: datetime,
) -> None:
    """Bring the role of somebody who has been here before to what the platform says now.

    It is stored by itself: whatever keeps them from coming in this time, a role that was taken away
    is gone.
    """
    person = session.get(LtiPerson, (platform.id, subject))
    context = _find_context(session, platform, course)
    if person is None or context is None:
        return
    user = session.get_one(User, person.user_id)
    if role is not SectionRole.INSTRUCTOR and context.opened_by_id == user.id:
        context.opened_by_id = None
    if context.section_id is None:
        return
    word = LmsSource(platform.name, user.id, now)
    if role is None:
        withdraw(session, context.section_id, user, word)
    elif role_in_section(session, user.id, context.section_id) is not None:
        follow(session, context.section_id, user, role, word)


def admit_launch(
    session: Session, context: LtiContext, user: User, comer: LaunchUser, now: datetime
) -> SectionRole | None:
    """Enrol who comes as the platform says; return their role in the section, None without one."""
    if comer.role is SectionRole.INSTRUCTOR:
        context.opened_by_id = user.id
    session.flush()
    if context.section_id is None:
        return None
    word = LmsSource(context.platform.name, user.id, now)
    return follow(session, context.section_id, user, comer.role, word)


def link_of(
    session: Session, context: LtiContext, target: PlatformLink, role: SectionRole | None
) -> LtiLink:
    """Return the platform's link as known here, bound to the assignment chosen for it.

    Raises NotYet.
    """
    link = session.scalar(
        select(LtiLink).where(
            LtiLink.context_id == context.id, LtiLink.resource_link_id == target.resource_link_id
        )
    )
    bound = link is not None and link.assignment_id is not None
    chosen, by_requirement = (None, False) if bound else _chosen(session, context, target)
    if not bound and chosen is None and role in HANDING_IN:
        raise NotYet(
            "This link does not lead to an exercise yet. "
            "Its instructor opens it once and chooses the exercise."
        )
    if link is None:
        link = LtiLink(context_id=context.id, resource_link_id=target.resource_link_id)
        session.add(link)
    link.title = target.title
    link.line_item = target.line_item or link.line_item
    link.line_items = target.line_items or link.line_items
    if chosen is not None:
        link.assignment_id, link.by_requirement = chosen.id, by_requirement
    session.flush()
    session.refresh(link)
    return link


def _find_context(
    session: Session, platform: Platform, course: PlatformCourse
) -> LtiContext | None:
    return session.scalar(
        select(LtiContext).where(
            LtiContext.platform_id == platform.id,
            LtiContext.deployment_id == course.deployment_id,
            LtiContext.context_id == course.context_id,
        )
    )


def _chosen(
    session: Session, context: LtiContext, target: PlatformLink
) -> tuple[Assignment | None, bool]:
    """Return what was chosen when the link was made, or the one that it was copied from.

    That is the assignment of this context's section, None if there is none, and whether the link
    had a column for each requirement. A copied course has a section of its own: there, its links
    lead to the same exercise, as soon as it is set.
    """
    original = _original(session, context, target)
    by_requirement = original is not None and original.by_requirement
    first = None if target.assignment_id is None else find_assignment(session, target.assignment_id)
    for each in (first, original.assignment if original else None):
        if each is None or context.section_id is None:
            continue
        if each.section_id == context.section_id:
            return each, by_requirement
        for here in assignments_of(session, [context.section_id]):
            if here.exercise == each.exercise:
                return here, by_requirement
    return None, False


def _original(session: Session, context: LtiContext, target: PlatformLink) -> LtiLink | None:
    """Return the newest link of a history that is known here and leads somewhere."""
    query = (
        select(LtiLink)
        .join(LtiContext, LtiContext.id == LtiLink.context_id)
        .where(
            LtiContext.platform_id == context.platform_id,
            LtiLink.resource_link_id.in_(target.link_history),
            LtiLink.assignment_id.is_not(None),
        )
        .order_by(LtiLink.id)
    )
    if target.context_history:
        courses = (context.context_id, *target.context_history)
        query = query.where(LtiContext.context_id.in_(courses))
    found = {link.resource_link_id: link for link in session.scalars(query)}
    return next((found[each] for each in target.link_history if each in found), None)


def _hash(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()
