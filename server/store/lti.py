"""What is known of learning-management systems: platforms, keys, sign-ins, links, the outbox.

Names are those of LTI 1.3 (1EdTech), Assignment and Grade Services 2.0 and Names and Role
Provisioning Services 2.0.
"""

from datetime import datetime
from urllib.parse import urlsplit

from sqlalchemy import ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from server.store.courses import Assignment, Section
from server.store.database import Base, Document
from server.store.people import User

MAX_ADDRESS = 1000


class Platform(Base):
    """A learning-management system in which this tool is registered as ``client_id``.

    ``more_hosts`` are hosts of its services beside those of the addresses, separated by spaces.
    ``token_audience`` is whom our requests for access tokens are addressed to; empty, it is
    ``token_url``.
    """

    __tablename__ = "lti_platforms"
    __table_args__ = (UniqueConstraint("issuer", "client_id"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(200))
    issuer: Mapped[str] = mapped_column(String(255))
    client_id: Mapped[str] = mapped_column(String(255))
    login_url: Mapped[str] = mapped_column(String(MAX_ADDRESS))
    token_url: Mapped[str] = mapped_column(String(MAX_ADDRESS))
    keys_url: Mapped[str] = mapped_column(String(MAX_ADDRESS))
    more_hosts: Mapped[str] = mapped_column(String(MAX_ADDRESS), default="")
    token_audience: Mapped[str] = mapped_column(String(MAX_ADDRESS), default="")

    @property
    def hosts(self) -> frozenset[str]:
        """The hosts that the administrator registered; nothing is asked of any other."""
        own = (self.issuer, self.login_url, self.token_url, self.keys_url)
        named = {urlsplit(address).netloc.lower() for address in own}
        return frozenset({*named, *self.more_hosts.lower().split()} - {""})


class Deployment(Base):
    """A deployment of the tool in a platform from which launches are taken."""

    __tablename__ = "lti_deployments"

    platform_id: Mapped[int] = mapped_column(
        ForeignKey("lti_platforms.id", ondelete="CASCADE"), primary_key=True
    )
    deployment_id: Mapped[str] = mapped_column(String(255), primary_key=True)


class LtiInvitation(Base):
    """Leave for a platform to register itself, once, by who has the ticket of its address.

    ``hosts`` are where the platform may have its addresses, separated by spaces.
    """

    __tablename__ = "lti_invitations"

    ticket_hash: Mapped[str] = mapped_column(String(64), primary_key=True)
    name: Mapped[str] = mapped_column(String(200))
    hosts: Mapped[str] = mapped_column(String(MAX_ADDRESS))
    expires_at: Mapped[datetime] = mapped_column(index=True)


class ToolKey(Base):
    """A key by which this tool signs until ``retired_at``; it stays published for a while after.

    ``private_key`` is a JWK, or ``{"jwe": …}`` where the settings have a secret to keep it by.
    """

    __tablename__ = "lti_keys"

    kid: Mapped[str] = mapped_column(String(64), primary_key=True)
    private_key: Mapped[Document]
    made_at: Mapped[datetime]
    retired_at: Mapped[datetime | None]


class LtiLogin(Base):
    """A sign-in that has begun: its nonce is good once, in the browser that holds the state.

    ``launch`` is what the platform then said, checked; it waits for that browser to come for it.
    ``storage_target`` is the platform's frame that keeps the state for a sign-in inside a frame,
    where browsers refuse cookies; empty where a cookie keeps it.
    """

    __tablename__ = "lti_logins"

    state_hash: Mapped[str] = mapped_column(String(64), primary_key=True)
    platform_id: Mapped[int] = mapped_column(ForeignKey("lti_platforms.id", ondelete="CASCADE"))
    nonce: Mapped[str] = mapped_column(String(64))
    expires_at: Mapped[datetime] = mapped_column(index=True)
    launch: Mapped[Document | None]
    storage_target: Mapped[str] = mapped_column(String(255), default="")


class LtiPerson(Base):
    """Who a platform's ``sub`` is here."""

    __tablename__ = "lti_people"

    platform_id: Mapped[int] = mapped_column(
        ForeignKey("lti_platforms.id", ondelete="CASCADE"), primary_key=True
    )
    subject: Mapped[str] = mapped_column(String(255), primary_key=True)
    user_id: Mapped[int] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"), index=True)


class LtiMember(Base):
    """Who somebody is here whom a platform's roster names and who has not come yet.

    It says where grades go and opens no account. ``email`` waits for the account: it is empty once
    ``user_id`` is known, which then stays, whoever has the address in the platform later.
    """

    __tablename__ = "lti_members"

    platform_id: Mapped[int] = mapped_column(
        ForeignKey("lti_platforms.id", ondelete="CASCADE"), primary_key=True
    )
    subject: Mapped[str] = mapped_column(String(255), primary_key=True)
    email: Mapped[str] = mapped_column(String(254), default="")
    user_id: Mapped[int | None] = mapped_column(
        ForeignKey("users.id", ondelete="CASCADE"), index=True
    )


class LtiContext(Base):
    """A platform's course that is a section here; ``section_id`` None until somebody says which.

    ``opened_by_id`` is who came last from it as an instructor, and may say so.
    """

    __tablename__ = "lti_contexts"
    __table_args__ = (UniqueConstraint("platform_id", "deployment_id", "context_id"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    platform_id: Mapped[int] = mapped_column(ForeignKey("lti_platforms.id", ondelete="CASCADE"))
    deployment_id: Mapped[str] = mapped_column(String(255))
    context_id: Mapped[str] = mapped_column(String(255))
    title: Mapped[str] = mapped_column(String(200))
    section_id: Mapped[int | None] = mapped_column(
        ForeignKey("sections.id", ondelete="CASCADE"), index=True
    )
    memberships_url: Mapped[str | None] = mapped_column(String(MAX_ADDRESS))
    opened_by_id: Mapped[int | None] = mapped_column(
        ForeignKey("users.id", ondelete="SET NULL"), index=True
    )

    platform: Mapped[Platform] = relationship(lazy="joined", innerjoin=True)
    section: Mapped[Section | None] = relationship(lazy="joined")


class LtiLink(Base):
    """A resource link that leads to an assignment, and where its grades go.

    ``assignment_id`` is None until the instructor has chosen one. ``line_items`` is the address
    of the platform's line items, ``line_item`` of the one for the assignment as a whole.
    """

    __tablename__ = "lti_links"
    __table_args__ = (UniqueConstraint("context_id", "resource_link_id"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    context_id: Mapped[int] = mapped_column(ForeignKey("lti_contexts.id", ondelete="CASCADE"))
    resource_link_id: Mapped[str] = mapped_column(String(255))
    title: Mapped[str] = mapped_column(String(200), default="")
    assignment_id: Mapped[int | None] = mapped_column(
        ForeignKey("assignments.id", ondelete="CASCADE"), index=True
    )
    line_item: Mapped[str | None] = mapped_column(String(MAX_ADDRESS))
    line_items: Mapped[str | None] = mapped_column(String(MAX_ADDRESS))
    by_requirement: Mapped[bool] = mapped_column(default=False)

    context: Mapped[LtiContext] = relationship(lazy="joined", innerjoin=True)
    assignment: Mapped[Assignment | None] = relationship(lazy="joined")


class LtiChoice(Base):
    """An instructor who chooses in a platform what new links lead to (Deep Linking 2.0).

    ``takes_links``, ``takes_several``, ``takes_window`` and ``takes_line_item`` say what the
    platform accepts: resource links at all, more than one, links that open a window, columns of its
    gradebook. ``ticket_hash`` opens the choice inside the platform's frame, where nobody can be
    signed in; it is empty for a choice in a window of its own.
    """

    __tablename__ = "lti_choices"

    id: Mapped[int] = mapped_column(primary_key=True)
    context_id: Mapped[int] = mapped_column(
        ForeignKey("lti_contexts.id", ondelete="CASCADE"), index=True
    )
    user_id: Mapped[int] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"), index=True)
    return_url: Mapped[str] = mapped_column(String(MAX_ADDRESS))
    data: Mapped[str | None]
    takes_line_item: Mapped[bool]
    takes_links: Mapped[bool] = mapped_column(default=True)
    takes_several: Mapped[bool] = mapped_column(default=False)
    takes_window: Mapped[bool] = mapped_column(default=False)
    ticket_hash: Mapped[str] = mapped_column(String(64), default="")
    expires_at: Mapped[datetime] = mapped_column(index=True)

    context: Mapped[LtiContext] = relationship(lazy="joined", innerjoin=True)


class LineItem(Base):
    """The line item that was made for one requirement of a link's exercise."""

    __tablename__ = "lti_line_items"

    link_id: Mapped[int] = mapped_column(
        ForeignKey("lti_links.id", ondelete="CASCADE"), primary_key=True
    )
    requirement: Mapped[str] = mapped_column(String(20), primary_key=True)
    address: Mapped[str] = mapped_column(String(MAX_ADDRESS))


class OutgoingScore(Base):
    """The newest score for one student and line item, and whether the platform has it.

    ``requirement`` is empty for the assignment as a whole. ``points`` None takes back what was
    given: nothing counts any more. ``submitted_at`` is when what counts was handed in, ``comment``
    what its student reads beside it; ``pending``: a teacher has yet to decide. ``version`` grows
    with each change; the platform has what it should have once ``sent_version`` is as great. One
    that is ``stopped`` is not tried again until somebody has fixed what ``trouble`` says.
    """

    __tablename__ = "lti_scores"
    __table_args__ = (UniqueConstraint("link_id", "user_id", "requirement"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    link_id: Mapped[int] = mapped_column(ForeignKey("lti_links.id", ondelete="CASCADE"))
    user_id: Mapped[int] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"), index=True)
    requirement: Mapped[str] = mapped_column(String(20), default="")
    points: Mapped[float | None]
    max_points: Mapped[float]
    submitted_at: Mapped[datetime | None]
    comment: Mapped[str] = mapped_column(String(700), default="")
    pending: Mapped[bool] = mapped_column(default=False)
    made_at: Mapped[datetime]
    version: Mapped[int] = mapped_column(default=1)
    sent_version: Mapped[int] = mapped_column(default=0)
    tries: Mapped[int] = mapped_column(default=0)
    next_try_at: Mapped[datetime] = mapped_column(index=True)
    trouble: Mapped[str] = mapped_column(String(300), default="")
    stopped: Mapped[bool] = mapped_column(default=False)

    link: Mapped[LtiLink] = relationship(lazy="joined", innerjoin=True)
    user: Mapped[User] = relationship(lazy="joined", innerjoin=True)
