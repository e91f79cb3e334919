"""What a platform says in a launch: its claims, checked and made into one plain object.

Names and rules: LTI Core 1.3, section 5.3 'Required message claims' and 5.4 'Optional message
claims'; Deep Linking 2.0; AGS 2.0; NRPS 2.0. Names looked up in published examples, what is
required is from memory.
"""

from dataclasses import asdict, dataclass
from typing import Annotated, Any, Literal
from urllib.parse import SplitResult, unquote, urlsplit

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from server.remote.claims import CLAIM
from server.remote.id_token import TokenRefused
from server.remote.roles import reason_of_refusal, role_of
from server.remote.services import LINE_ITEMS, SCORES
from server.store.courses import SectionRole
from server.store.database import Document
from server.store.lti import MAX_ADDRESS
from server.store.lti_choices import Wanted

RESOURCE_LINK = "LtiResourceLinkRequest"
DEEP_LINKING = "LtiDeepLinkingRequest"

MOST_COPIES = 50
"""So many earlier courses or links of a history are looked at."""

Name = Annotated[str, Field(min_length=1, max_length=255)]
Address = Annotated[str, Field(min_length=1, max_length=MAX_ADDRESS)]


def _nothing(value: object) -> object:
    """Drop what is null or empty: some platforms send every claim they know."""
    return None if value in ("", {}, []) else value


def _without_nothing(value: object) -> object:
    """Return an object without the members that are null or empty; None if nothing is left."""
    if not isinstance(value, dict):
        return _nothing(value)
    return {name: each for name, each in value.items() if _nothing(each) is not None} or None


Absent = BeforeValidator(_without_nothing)


class _Context(BaseModel):
    id: Name
    title: str | None = None
    label: str | None = None


class _ResourceLink(BaseModel):
    id: Name
    title: str | None = None


class _Grades(BaseModel):
    """``scope`` None: the platform does not say what it grants (it has to, by AGS 2.0)."""

    scope: list[str] | None = None
    lineitems: Address | None = None
    lineitem: Address | None = None

    def grants(self, scopes: tuple[str, ...]) -> bool:
        return self.scope is None or set(scopes) <= set(self.scope)


class _MembershipsClaim(BaseModel):
    context_memberships_url: Address | None = None


class _Choosing(BaseModel):
    """Deep Linking 2.0, 'Deep linking settings': what is not said is not accepted, but a line item.

    Where nothing is said of line items, nothing may be concluded; they are offered.
    """

    deep_link_return_url: Address
    accept_types: list[str]
    accept_presentation_document_targets: list[str] = []
    accept_multiple: bool | None = None
    accept_lineitem: bool | None = None
    data: str | None = None

    def wanted(self) -> Wanted:
        return Wanted(
            return_url=self.deep_link_return_url,
            data=self.data,
            takes_line_item=self.accept_lineitem is not False,
            takes_links="ltiResourceLink" in self.accept_types,
            takes_several=self.accept_multiple is True,
            takes_window="window" in self.accept_presentation_document_targets,
        )


class _Presentation(BaseModel):
    return_url: Address | None = None


_NAMES = {
    name: f"{CLAIM}{name}"
    for name in (
        "message_type",
        "version",
        "deployment_id",
        "target_link_uri",
        "roles",
        "context",
        "resource_link",
        "custom",
        "launch_presentation",
    )
} | {
    "grades": "https://purl.imsglobal.org/spec/lti-ags/claim/endpoint",
    "members": "https://purl.imsglobal.org/spec/lti-nrps/claim/namesroleservice",
    "choosing": "https://purl.imsglobal.org/spec/lti-dl/claim/deep_linking_settings",
}


class _Claims(BaseModel):
    model_config = ConfigDict(alias_generator=lambda name: _NAMES.get(name, name))

    sub: Name
    message_type: Literal["LtiResourceLinkRequest", "LtiDeepLinkingRequest"]
    version: Literal["1.3.0"]
    deployment_id: Name
    target_link_uri: str | None = None
    roles: list[str] = []
    context: Annotated[_Context | None, Absent] = None
    resource_link: Annotated[_ResourceLink | None, Absent] = None
    custom: Annotated[dict[str, Any] | None, Absent] = None
    grades: Annotated[_Grades | None, Absent] = None
    members: Annotated[_MembershipsClaim | None, Absent] = None
    choosing: Annotated[_Choosing | None, Absent] = None
    launch_presentation: Annotated[_Presentation | None, Absent] = None
    email: str | None = None
    name: str | None = None
    given_name: str | None = None
    family_name: str | None = None


SENTENCES = {
    "sub": "The launch names no person (sub); work without a name can't be graded here.",
    "message_type": "The launch is neither for a resource link nor for deep linking.",
    "version": "The launch is not of LTI version 1.3.0, the only one that is supported.",
    "deployment_id": "The launch names no deployment.",
    "roles": "The launch does not say in which role somebody comes.",
}


@dataclass(frozen=True, slots=True)
class Launch:
    """Somebody comes from a platform's course: to work, or to choose what a link leads to.

    ``context_id`` is empty if they come from no course. ``role`` is theirs in the course, None if
    there is none for it here; ``why_not`` says why. Addresses are None where the platform offers no
    such service, or does not grant it. ``wanted`` is what the platform accepts of a choice, None if
    they come to work. ``back_url`` is where the platform wants to have them back. The histories are
    ids of the courses and links from which theirs was copied, the newest first.
    """

    subject: str
    deployment_id: str
    context_id: str
    context_title: str
    role: SectionRole | None
    name: str
    listed_as: str
    email: str
    resource_link_id: str
    title: str
    assignment_id: int | None
    line_item: str | None
    line_items: str | None
    memberships_url: str | None
    wanted: Wanted | None
    back_url: str | None
    context_history: tuple[str, ...] = ()
    link_history: tuple[str, ...] = ()
    why_not: str = ""


def to_document(launch: Launch) -> Document:
    """As it is stored until the browser comes for it."""
    return asdict(launch)


def from_document(document: Document) -> Launch:
    role, wanted = document["role"], document["wanted"]
    read = {
        "role": SectionRole(role) if role else None,
        "wanted": wanted and Wanted(**wanted),
        "context_history": tuple(document["context_history"]),
        "link_history": tuple(document["link_history"]),
    }
    return Launch(**{**document, **read})


def read_launch(claims: dict[str, Any], target: str) -> Launch:
    """Return what the claims of a verified token say. Raises TokenRefused with one sentence.

    ``target`` is the only address of ours to which a launch may lead.
    """
    try:
        read = _Claims.model_validate(claims)
    except ValidationError as error:
        name = str(error.errors()[0]["loc"][0]).rsplit("/", 1)[-1]
        sentence = f"The claim {name} of the launch can't be read."
        raise TokenRefused(SENTENCES.get(name, sentence)) from error
    there = leads_to(read.target_link_uri or "", target)
    if not there and read.message_type == RESOURCE_LINK:
        raise TokenRefused(f"The launch leads to another address (target_link_uri) than {target}.")
    if read.message_type == RESOURCE_LINK and "roles" not in read.model_fields_set:
        raise TokenRefused(SENTENCES["roles"])
    if read.message_type == RESOURCE_LINK and read.resource_link is None:
        raise TokenRefused("The launch does not say from which link it comes (resource_link).")
    if read.message_type == DEEP_LINKING and read.choosing is None:
        raise TokenRefused("The launch lacks its deep_linking_settings.")
    link, choosing, context = read.resource_link, read.choosing, read.context
    grades = read.grades or _Grades()
    sends, makes = grades.grants(SCORES), grades.grants(SCORES + LINE_ITEMS)
    custom = read.custom or {}
    chosen = str(custom.get("assignment", ""))
    role = role_of(read.roles)
    name, listed_as = names(read.name, read.given_name, read.family_name)
    return Launch(
        subject=read.sub,
        deployment_id=read.deployment_id,
        context_id=context.id if context else "",
        context_title=(context.title or context.label or context.id)[:200] if context else "",
        role=role,
        name=name,
        listed_as=listed_as,
        email=read.email or "",
        resource_link_id=link.id if link else "",
        title=((link.title if link else None) or "")[:200],
        assignment_id=int(chosen) if chosen.isdecimal() and len(chosen) < 10 else None,
        line_item=grades.lineitem if sends else None,
        line_items=grades.lineitems if makes else None,
        memberships_url=read.members.context_memberships_url if read.members else None,
        wanted=choosing.wanted() if choosing and read.message_type == DEEP_LINKING else None,
        back_url=read.launch_presentation.return_url if read.launch_presentation else None,
        context_history=_history(custom.get("context_history")),
        link_history=_history(custom.get("link_history")),
        why_not="" if role else reason_of_refusal(read.roles),
    )


def _history(said: object) -> tuple[str, ...]:
    """Return the ids of a history, the newest first: separated by commas, each encoded for URLs.

    A platform that does not know the parameter sends its name back, which begins with a dollar.
    """
    text = said if isinstance(said, str) and not said.startswith("$") else ""
    ids = (unquote(each.strip()) for each in text.split(",")[:MOST_COPIES])
    return tuple(each for each in ids if 0 < len(each) <= 255)


def back_url_of(claims: dict[str, Any]) -> str | None:
    """Return where the platform wants people back, of claims that may not make a launch."""
    presentation = claims.get(_NAMES["launch_presentation"])
    address = presentation.get("return_url") if isinstance(presentation, dict) else None
    return address if isinstance(address, str) and len(address) <= MAX_ADDRESS else None


def leads_to(address: str, target: str) -> bool:
    """Return whether an address has the target's scheme, host and path; a query may follow."""
    try:
        return _place(urlsplit(address)) == _place(urlsplit(target))
    except ValueError:
        return False


def _place(parts: SplitResult) -> tuple[str, str | None, int | None, str]:
    usual = {"https": 443, "http": 80}.get(parts.scheme)
    return parts.scheme, parts.hostname, parts.port or usual, parts.path


def names(name: str | None, given: str | None, family: str | None) -> tuple[str, str]:
    """Return a name as it is written and as it is listed; empty where the platform gives none."""
    given, family = " ".join((given or "").split()), " ".join((family or "").split())
    whole = " ".join((name or "").split()) or f"{given} {family}".strip()
    listed = f"{family}, {given}" if given and family else ""
    return whole[:200], listed[:200]
