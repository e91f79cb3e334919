"""What is asked of a platform: line items, scores, members.

Assignment and Grade Services 2.0 (AGS), Names and Role Provisioning Services 2.0 (NRPS); what is
said of them here is from memory and from pages that restate them.
"""

from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import UTC, datetime
from time import monotonic
from typing import TypeVar
from urllib.parse import urlencode, urlsplit, urlunsplit

from pydantic import BaseModel, Field, ValidationError

from server.remote.access_tokens import AccessTokens
from server.remote.http import Answer, NoAnswer, NotTaken, Outside, host_of
from server.store.lti import MAX_ADDRESS, LtiContext

_AGS = "https://purl.imsglobal.org/spec/lti-ags/scope"
LINE_ITEMS = (f"{_AGS}/lineitem",)
SCORES = (f"{_AGS}/score",)
MEMBERS = ("https://purl.imsglobal.org/spec/lti-nrps/scope/contextmembership.readonly",)

LINE_ITEM = "application/vnd.ims.lis.v2.lineitem+json"
LINE_ITEM_LIST = "application/vnd.ims.lis.v2.lineitemcontainer+json"
SCORE = "application/vnd.ims.lis.v1.score+json"
MEMBER_LIST = "application/vnd.ims.lti-nrps.v2.membershipcontainer+json"

MAX_PAGES = 50
MAX_SECONDS = 60.0
"""For all pages of one list."""

Form = TypeVar("Form", bound=BaseModel)


class Member(BaseModel):
    """Somebody in a platform's course (NRPS, 'Membership container media type')."""

    user_id: str = Field(max_length=255)
    roles: list[str] = []
    status: str = "Active"
    name: str | None = None
    given_name: str | None = None
    family_name: str | None = None
    email: str | None = None


class _MembershipContainer(BaseModel):
    members: list[Member]


class _LineItem(BaseModel):
    id: str = Field(max_length=MAX_ADDRESS)
    resource_id: str | None = Field(default=None, alias="resourceId")
    resource_link_id: str | None = Field(default=None, alias="resourceLinkId")
    tag: str | None = None


class _LineItems(BaseModel):
    items: list[_LineItem]


@dataclass(frozen=True, slots=True)
class WantedLineItem:
    """A column of the platform's gradebook: one for each ``resource_id`` and ``tag``."""

    label: str
    most: float
    resource_id: str
    tag: str
    resource_link_id: str


@dataclass(frozen=True, slots=True)
class Score:
    """One student's points, None if there are none any more; ``made_at`` grows with each change.

    ``submitted_at`` is when the work was handed in, None if points were given without any.
    ``pending``: the points may change yet, because a teacher has to look at the work.
    """

    subject: str
    points: float | None
    most: float
    made_at: datetime
    submitted_at: datetime | None = None
    comment: str = ""
    pending: bool = False


class Services:
    """The services of platforms, with the token that each call needs."""

    def __init__(self, outside: Outside, tokens: AccessTokens) -> None:
        self._outside = outside
        self._tokens = tokens

    def line_item(
        self, course: LtiContext, line_items: str, wanted: WantedLineItem, now: datetime
    ) -> str:
        """Return the address of a line item, which is made if missing (AGS, 'Line item service').

        It is looked for first, so that one that was made just before a crash is found again. The
        platform's own for the link, which has no tag, is the one for the assignment as a whole.
        """
        asked = {"resource_link_id": wanted.resource_link_id}
        address: str | None = _with_query(line_items, asked)
        for _ in range(MAX_PAGES):
            if address is None:
                break
            answer = self._get(course, LINE_ITEMS, address, LINE_ITEM_LIST, now)
            for item in _read(_LineItems, {"items": answer.data}, address).items:
                ours = item.resource_id in (wanted.resource_id, "", None)
                linked = item.resource_link_id == wanted.resource_link_id
                if ours and linked and (item.tag or "") == wanted.tag:
                    return item.id
            address = answer.following
        value = {
            "label": wanted.label,
            "scoreMaximum": wanted.most,
            "resourceId": wanted.resource_id,
            "tag": wanted.tag,
            "resourceLinkId": wanted.resource_link_id,
        }
        made = self._post(course, LINE_ITEMS, line_items, LINE_ITEM, value, now)
        return _read(_LineItem, made.data, line_items).id

    def post_score(self, course: LtiContext, line_item: str, score: Score, now: datetime) -> None:
        """Hand over a score, or take it back (AGS, 'Score publish service').

        Without ``scoreGiven`` the platform clears what it has for the student.

        The path of the line item goes on with /scores, before its query. The timestamp has parts
        of a second, and the platform keeps the score with the latest one.
        """
        parts = urlsplit(line_item)
        address = urlunsplit(parts._replace(path=f"{parts.path.rstrip('/')}/scores"))
        value: dict[str, object] = {
            "userId": score.subject,
            "timestamp": _moment(score.made_at),
        }
        if score.points is None:
            value |= {"activityProgress": "Initialized", "gradingProgress": "NotReady"}
        else:
            value |= {
                "scoreGiven": score.points,
                "scoreMaximum": score.most,
                "activityProgress": "Completed",
                # A person has to act before the points are final (AGS 2.0, 'gradingProgress').
                "gradingProgress": "PendingManual" if score.pending else "FullyGraded",
            }
            if score.submitted_at is not None:
                value["submission"] = {"submittedAt": _moment(score.submitted_at)}
            if score.comment:
                value["comment"] = score.comment
        try:
            self._post(course, SCORES, address, SCORE, value, now)
        except NotTaken as trouble:
            # The platform has a score of this timestamp or a later one (from memory): what it has
            # is this score, sent just before a crash.
            if trouble.status != 409:
                raise

    def members(self, course: LtiContext, address: str, now: datetime) -> list[Member]:
        """Return everybody in a course, page after page (NRPS, 'Limit query parameter')."""
        found: list[Member] = []
        following: str | None = address
        begun = monotonic()
        for _ in range(MAX_PAGES):
            if following is None:
                return found
            if monotonic() - begun > MAX_SECONDS:
                raise NoAnswer(f"{host_of(following)} lists its members too slowly.")
            answer = self._get(course, MEMBERS, following, MEMBER_LIST, now)
            found += _read(_MembershipContainer, answer.data, following).members
            following = answer.following
        raise NotTaken(f"The list of members has more than {MAX_PAGES} pages.")

    def _get(
        self, course: LtiContext, scopes: Collection[str], address: str, kind: str, now: datetime
    ) -> Answer:
        def ask(headers: dict[str, str]) -> Answer:
            return self._outside.get(address, course.platform.hosts, {**headers, "Accept": kind})

        return self._with_token(course, scopes, ask, now)

    def _post(
        self,
        course: LtiContext,
        scopes: Collection[str],
        address: str,
        kind: str,
        value: object,
        now: datetime,
    ) -> Answer:
        def ask(headers: dict[str, str]) -> Answer:
            headers = {**headers, "Content-Type": kind}
            return self._outside.post_json(address, course.platform.hosts, headers, value)

        return self._with_token(course, scopes, ask, now)

    def _with_token(
        self,
        course: LtiContext,
        scopes: Collection[str],
        ask: Callable[[dict[str, str]], Answer],
        now: datetime,
    ) -> Answer:
        """Ask with a token; get a new one, once, if the platform has forgotten it."""
        for last in (False, True):
            token = self._tokens.get(course, scopes, now)
            try:
                return ask({"Authorization": f"Bearer {token}"})
            except NotTaken as trouble:
                if trouble.status not in (401, 403):
                    raise
                self._tokens.forget(course, scopes)
                if last:
                    raise
        raise AssertionError("the second try has raised or returned")


def _moment(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat(timespec="milliseconds")


def _with_query(address: str, values: dict[str, str]) -> str:
    parts = urlsplit(address)
    query = "&".join(part for part in (parts.query, urlencode(values)) if part)
    return urlunsplit(parts._replace(query=query))


def _read(form: type[Form], data: object, address: str) -> Form:
    try:
        return form.model_validate(data)
    except ValidationError as error:
        raise NotTaken(f"The answer of {address[:200]} is not what the standard says.") from error
