"""The administrator's page of learning-management systems: register them, keys, courses."""

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Depends, Form, HTTPException, Request
from sqlalchemy import select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from server.remote import own_keys
from server.remote.http import is_permitted
from server.store.lti import Deployment, LtiContext, Platform
from server.web.dependencies import Now, Reading, SettingsHere, Writing
from server.web.lti.addresses import choosing_target_of, target_of
from server.web.rendering import page

router = APIRouter()

Line = Annotated[str, Form(max_length=255)]
Address = Annotated[str, Form(max_length=1000)]


@dataclass(frozen=True, slots=True)
class PlatformForm:
    """The form as it was typed, so that it can be shown again."""

    name: str = ""
    issuer: str = ""
    client_id: str = ""
    deployments: str = ""
    login_url: str = ""
    token_url: str = ""
    keys_url: str = ""
    more_hosts: str = ""
    token_audience: str = ""

    def mistake(self) -> str:
        """One sentence that says what can't be; empty if all is well."""
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

    def fill(self, platform: Platform) -> None:
        """Bring a platform to what was typed."""
        platform.name, platform.issuer, platform.client_id = self.name, self.issuer, self.client_id
        platform.login_url, platform.token_url = self.login_url, self.token_url
        platform.keys_url, platform.more_hosts = self.keys_url, self.more_hosts
        platform.token_audience = self.token_audience

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
        name.strip(),
        issuer.strip(),
        client_id.strip(),
        deployments.strip(),
        login_url.strip(),
        token_url.strip(),
        keys_url.strip(),
        " ".join(more_hosts.split()),
        token_audience.strip(),
    )


TypedHere = Annotated[PlatformForm, Depends(typed)]


@router.get("/platforms")
def platforms(request: Request, session: Reading, settings: SettingsHere, now: Now) -> Response:
    return _page(request, session, settings, now)


@router.post("/platforms")
def add_platform(
    request: Request, session: Writing, settings: SettingsHere, now: Now, form: TypedHere
) -> Response:
    mistake = form.mistake() or _store(session, Platform(), form)
    if mistake:
        return _page(request, session, settings, now, mistake, form)
    own_keys.ensure_key(session, settings.key_secret, now)
    return _back()


@router.post("/platforms/{platform_id}")
def change_platform(
    request: Request,
    platform_id: int,
    session: Writing,
    settings: SettingsHere,
    now: Now,
    form: TypedHere,
) -> Response:
    platform = _platform(session, platform_id)
    mistake = form.mistake() or _store(session, platform, form)
    if mistake:
        return _page(request, session, settings, now, mistake, form, platform_id)
    return _back()


@router.post("/platforms/{platform_id}/remove")
def remove_platform(
    request: Request,
    platform_id: int,
    session: Writing,
    settings: SettingsHere,
    now: Now,
    name: Annotated[str, Form(max_length=200)] = "",
) -> Response:
    """Forget a platform, its courses and links; accounts, work and grades here stay."""
    platform = _platform(session, platform_id)
    if name.strip() != platform.name:
        sentence = f"Nothing was removed. Type the name {platform.name} to remove it."
        return _page(request, session, settings, now, sentence)
    session.delete(platform)
    return _back()


@router.post("/platforms-keys")
def rotate_keys(request: Request, session: Writing, settings: SettingsHere, now: Now) -> Response:
    """Publish a new key, which signs from tomorrow on."""
    if own_keys.rotate(session, settings.key_secret, now) is None:
        sentence = "A new key is published already and takes over soon. Wait until it signs."
        return _page(request, session, settings, now, sentence)
    return _back()


def _store(session: Session, platform: Platform, form: PlatformForm) -> str:
    """Bring a platform to what was typed; what is wrong, if anything."""
    old = (platform.issuer, platform.client_id) if platform.id else None
    if old != (form.issuer, form.client_id):
        taken = select(Platform.id).where(
            Platform.issuer == form.issuer, Platform.client_id == form.client_id
        )
        if session.scalar(taken) is not None:
            return f"{form.issuer} is registered with this client id already. Change it there."
    try:
        with session.begin_nested():
            form.fill(platform)
            session.add(platform)
            session.flush()
    except IntegrityError:
        return f"{form.issuer} is registered with this client id already. Change it there."
    there = _deployments(session, platform.id)
    for each in form.deployment_ids:
        if each not in there:
            session.add(Deployment(platform_id=platform.id, deployment_id=each))
    for each in set(there) - set(form.deployment_ids):
        session.delete(session.get_one(Deployment, (platform.id, each)))
    session.flush()
    return ""


def _deployments(session: Session, platform_id: int) -> list[str]:
    return list(
        session.scalars(
            select(Deployment.deployment_id)
            .where(Deployment.platform_id == platform_id)
            .order_by(Deployment.deployment_id)
        )
    )


def _as_typed(session: Session, platform: Platform) -> PlatformForm:
    return PlatformForm(
        platform.name,
        platform.issuer,
        platform.client_id,
        "\n".join(_deployments(session, platform.id)),
        platform.login_url,
        platform.token_url,
        platform.keys_url,
        platform.more_hosts,
        platform.token_audience,
    )


def _platform(session: Session, platform_id: int) -> Platform:
    platform = session.get(Platform, platform_id)
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
) -> Response:
    found = session.scalars(select(Platform).order_by(Platform.name, Platform.id)).all()
    site = settings.public_urls[0]
    keys = own_keys.all_keys(session)
    signing = own_keys.signing_key(session, now)
    return page(
        request,
        "lti/platforms.html",
        422 if mistake else 200,
        platforms=[
            (each, form if form and changing == each.id else _as_typed(session, each))
            for each in found
        ],
        added=form if form and changing is None else PlatformForm(),
        contexts=session.scalars(select(LtiContext).order_by(LtiContext.title)).all(),
        addresses=(
            ("Login initiation", f"{site}/lti/login"),
            ("Launch and redirect", target_of(settings)),
            ("Deep linking", choosing_target_of(settings)),
            ("Public key set", f"{site}/lti/keys"),
        ),
        keys=keys,
        signing=signing,
        published_after=own_keys.PUBLISHED_AFTER,
        locked=bool(settings.key_secret),
        now=now,
        mistake=mistake,
    )


def _back() -> Response:
    return RedirectResponse("/platforms", 303)
