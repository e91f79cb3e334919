"""Learning-management systems as the administrator registers them, and what was begun from them."""

from collections.abc import Collection
from dataclasses import dataclass, fields

from sqlalchemy import select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from server.store.lti import Deployment, LtiChoice, LtiContext, LtiLink, Platform


@dataclass(frozen=True, slots=True)
class Registration:
    """What the administrator says of a platform; meanings as in ``Platform``."""

    name: str = ""
    issuer: str = ""
    client_id: str = ""
    login_url: str = ""
    token_url: str = ""
    keys_url: str = ""
    more_hosts: str = ""
    token_audience: str = ""


def all_platforms(session: Session) -> list[Platform]:
    """Return every platform by its name."""
    return list(session.scalars(select(Platform).order_by(Platform.name, Platform.id)))


def find_platform(session: Session, platform_id: int) -> Platform | None:
    return session.get(Platform, platform_id)


def get_platform(session: Session, platform_id: int) -> Platform:
    """Return a platform that is known to be there; raise NoResultFound for any other."""
    return session.get_one(Platform, platform_id)


def save_platform(
    session: Session,
    platform: Platform,
    registration: Registration,
    deployment_ids: Collection[str],
) -> bool:
    """Store a platform, new or known, with its deployments.

    Return False, and change nothing, if another one has its issuer and client id.
    """
    wanted = (registration.issuer, registration.client_id)
    if platform.id is None or (platform.issuer, platform.client_id) != wanted:
        taken = select(Platform.id).where(
            Platform.issuer == registration.issuer, Platform.client_id == registration.client_id
        )
        if session.scalar(taken) is not None:
            return False
    try:
        with session.begin_nested():
            for column in fields(Registration):
                setattr(platform, column.name, getattr(registration, column.name))
            session.add(platform)
            session.flush()
    except IntegrityError:
        return False
    there = deployments_of(session, platform.id)
    for each in deployment_ids:
        if each not in there:
            session.add(Deployment(platform_id=platform.id, deployment_id=each))
    for each in set(there) - set(deployment_ids):
        session.delete(session.get_one(Deployment, (platform.id, each)))
    session.flush()
    return True


def remove_platform(session: Session, platform: Platform) -> None:
    """Delete a platform, its courses and links; accounts, work and grades stay."""
    session.delete(platform)


def deployments_of(session: Session, platform_id: int) -> list[str]:
    """Return the ids of a platform's deployments in their order."""
    return list(
        session.scalars(
            select(Deployment.deployment_id)
            .where(Deployment.platform_id == platform_id)
            .order_by(Deployment.deployment_id)
        )
    )


def all_contexts(session: Session) -> list[LtiContext]:
    """Return the courses of all platforms by their titles."""
    return list(session.scalars(select(LtiContext).order_by(LtiContext.title)))


def find_context(session: Session, context_id: int) -> LtiContext | None:
    return session.get(LtiContext, context_id)


def find_link(session: Session, link_id: int) -> LtiLink | None:
    return session.get(LtiLink, link_id)


def find_choice(session: Session, choice_id: int) -> LtiChoice | None:
    return session.get(LtiChoice, choice_id)


def get_choice(session: Session, choice_id: int) -> LtiChoice:
    """Return a choice that is known to be there; raise NoResultFound for any other."""
    return session.get_one(LtiChoice, choice_id)
