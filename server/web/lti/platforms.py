"""The administrator's page of learning-management systems: register them, keys, courses."""

from dataclasses import dataclass, fields
from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Depends, Form, HTTPException, Request
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from server.remote import own_keys
from server.remote.http import is_permitted
from server.store import lti_platforms
from server.store.audit import note
from server.store.audit_chain import Action
from server.store.lti import Platform
from server.store.lti_platforms import (
    Registration,
    all_contexts,
    all_platforms,
    deployments_of,
    find_platform,
    save_platform,
)
from server.store.lti_registration import invite
from server.web.access import Visitor, VisitorHere
from server.web.dependencies import Now, Reading, SettingsHere, Writing
from server.web.lti.addresses import choosing_target_of, target_of
from server.web.rendering import page

router = APIRouter()

Line = Annotated[str, Form(max_length=255)]
Address = Annotated[str, Form(max_length=1000)]


@dataclass(frozen=True, slots=True)
class PlatformForm(Registration):
    """The form as it was typed, so that it can be shown again; a deployment id on each line."""

    deployments: str = ""

    def mistake(self) -> str:
        """Return one sentence that says what can't be; empty if all is well."""
        needed = (("name", self.name), ("issuer", self.issuer), ("client id", self.client_id))
        for what, text in needed:
            if not text:
                return f"The {what} is missing. Copy it from the LMS."
        if not self.deployments:
            return "A deployment id is needed. Copy it from the LMS; several go on a line each."
        if any(len(each) > 255 for each in self.deployments.splitlines()):
            return "A deployment id has more than 255 letters. Correct it."
        addresses = (
            ("login address", self.login_url),
            ("token address", self.token_url),
            ("key set address", self.keys_url),
        )
        for what, text in addresses:
            if not is_permitted(text):
                return f"The {what} is not an https address. Correct it."
        return ""

    @property
    def deployment_ids(self) -> list[str]:
        lines = (line.strip() for line in self.deployments.splitlines())
        return list(dict.fromkeys(line for line in lines if line))


def typed(
    name: Annotated[str, Form(max_length=200)] = "",
    issuer: Line = "",
    client_id: Line = "",
    deployments: Annotated[str, Form(max_length=10_000)] = "",
    login_url: Address = "",
    token_url: Address = "",
    keys_url: Address = "",
    more_hosts: Address = "",
    token_audience: Address = "",
) -> PlatformForm:
    return PlatformForm(
        name=name.strip(),
        issuer=issuer.strip(),
        client_id=client_id.strip(),
        login_url=login_url.strip(),
        token_url=token_url.strip(),
        keys_url=keys_url.strip(),
        more_hosts=" ".join(more_hosts.split()),
        token_audience=token_audience.strip(),
        deployments=deployments.strip(),
    )


TypedHere = Annotated[PlatformForm, Depends(typed)]


@router.get("/platforms")
def platforms(request: Request, session: Reading, settings: SettingsHere, now: Now) -> Response:
    return _page(request, session, settings, now)


@router.post("/platforms")
def add_platform(
    request: Request,
    session: Writing,
    settings: SettingsHere,
    visitor: VisitorHere,
    now: Now,
    form: TypedHere,
) -> Response:
    mistake = _save(session, Platform(), form)
    if mistake:
        return _page(request, session, settings, now, mistake, form)
    own_keys.ensure_key(session, settings.key_secret, now)
    _note(session, visitor, now, f"added {form.name}")
    return _back()


@router.post("/platforms/{platform_id}")
def change_platform(
    request: Request,
    platform_id: int,
    session: Writing,
    settings: SettingsHere,
    visitor: VisitorHere,
    now: Now,
    form: TypedHere,
) -> Response:
    platform = _platform(session, platform_id)
    mistake = _save(session, platform, form)
    if mistake:
        return _page(request, session, settings, now, mistake, form, platform_id)
    _note(session, visitor, now, f"changed {form.name}")
    return _back()


@router.post("/platforms/{platform_id}/remove")
def remove_platform(
    request: Request,
    platform_id: int,
    session: Writing,
    settings: SettingsHere,
    visitor: VisitorHere,
    now: Now,
    name: Annotated[str, Form(max_length=200)] = "",
) -> Response:
    """Forget a platform, its courses and links; accounts, work and grades here stay."""
    platform = _platform(session, platform_id)
    if name.strip() != platform.name:
        sentence = f"Nothing was removed. Type the name {platform.name} to remove it."
        return _page(request, session, settings, now, sentence)
    _note(session, visitor, now, f"removed {platform.name}")
    lti_platforms.remove_platform(session, platform)
    return _back()


@router.post("/platforms-invitation")
def invite_platform(
    request: Request,
    session: Writing,
    settings: SettingsHere,
    visitor: VisitorHere,
    now: Now,
    name: Annotated[str, Form(max_length=200)] = "",
    hosts: Address = "",
) -> Response:
    """Let an LMS register itself, once within a day; the page shows the address for it."""
    named = [each.lower() for each in hosts.split()]
    wrong = next((each for each in named if not is_permitted(f"https://{each}")), None)
    if not name.strip() or not named:
        sentence = "Write the name of the LMS and its host, like lms.college.example."
        return _page(request, session, settings, now, sentence)
    if wrong is not None or any("/" in each for each in named):
        sentence = f"{wrong or hosts} is not a host. Write it without https:// and without a path."
        return _page(request, session, settings, now, sentence)
    _note(session, visitor, now, f"invited {name.strip()}")
    ticket = invite(session, name.strip(), " ".join(named), now)
    address = f"{settings.public_urls[0]}/lti/register/{ticket}"
    return _page(request, session, settings, now, invitation=address)


@router.post("/platforms-keys")
def rotate_keys(
    request: Request, session: Writing, settings: SettingsHere, visitor: VisitorHere, now: Now
) -> Response:
    """Publish a new key, which signs from tomorrow on."""
    if own_keys.rotate(session, settings.key_secret, now) is None:
        sentence = "A new key is published already and takes over soon. Wait until it signs."
        return _page(request, session, settings, now, sentence)
    _note(session, visitor, now, "published a new key")
    return _back()


def _note(session: Session, visitor: Visitor, now: datetime, what: str) -> None:
    note(session, now, visitor.id, Action.CHANGED_PLATFORM, detail=what)


def _save(session: Session, platform: Platform, form: PlatformForm) -> str:
    """Update a platform from the form; return the error, if any."""
    mistake = form.mistake()
    if mistake or save_platform(session, platform, form, form.deployment_ids):
        return mistake
    return f"{form.issuer} is registered with this client id already. Change it there."


def _form_of(session: Session, platform: Platform) -> PlatformForm:
    columns = {each.name: getattr(platform, each.name) for each in fields(Registration)}
    return PlatformForm(**columns, deployments="\n".join(deployments_of(session, platform.id)))


def _platform(session: Session, platform_id: int) -> Platform:
    platform = find_platform(session, platform_id)
    if platform is None:
        raise HTTPException(404)
    return platform


def _page(
    request: Request,
    session: Session,
    settings: SettingsHere,
    now: Now,
    mistake: str = "",
    form: PlatformForm | None = None,
    changing: int | None = None,
    invitation: str = "",
) -> Response:
    site = settings.public_urls[0]
    keys = own_keys.all_keys(session)
    signing = own_keys.signing_key(session, now)
    return page(
        request,
        "lti/platforms.html",
        422 if mistake else 200,
        platforms=[
            (each, form if form and changing == each.id else _form_of(session, each))
            for each in all_platforms(session)
        ],
        added=form if form and changing is None else PlatformForm(),
        contexts=all_contexts(session),
        addresses=(
            ("Login initiation", f"{site}/lti/login"),
            ("Launch and redirect", target_of(settings)),
            ("Deep linking", choosing_target_of(settings)),
            ("Public key set", f"{site}/lti/keys"),
            ("All of it as JSON", f"{site}/lti/configuration.json"),
        ),
        invitation=invitation,
        keys=keys,
        signing=signing,
        published_after=own_keys.PUBLISHED_AFTER,
        locked=bool(settings.key_secret),
        now=now,
        mistake=mistake,
    )


def _back() -> Response:
    return RedirectResponse("/platforms", 303)
