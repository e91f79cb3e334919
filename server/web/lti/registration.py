"""A platform registers itself: the page that it opens, and what it reads of us (LTI-DR 1.0)."""

from functools import partial
from typing import Annotated
from urllib.parse import urlsplit

from fastapi import APIRouter, Form, Request
from fastapi.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, Response

from server.remote import own_keys
from server.remote.http import LOOPBACK, NoAnswer, NotTaken, Outside
from server.remote.registration import register_at, tool_configuration
from server.settings import Settings
from server.store.audit import note
from server.store.audit_chain import Action
from server.store.database import Database
from server.store.lti import LtiInvitation
from server.store.lti_registration import find_invitation, register
from server.web.dependencies import DatabaseHere, Now, Reading, SettingsHere
from server.web.errands import ErrandsHere
from server.web.lti.addresses import choosing_target_of, target_of
from server.web.rendering import error, page
from server.web.security import content_security_policy

router = APIRouter()

USED_UP = "This invitation was used or is older than a day. Ask the administrator for another."

Long = Annotated[str, Form(max_length=2000)]


def configuration_of(settings: Settings) -> dict[str, object]:
    target, choosing = target_of(settings), choosing_target_of(settings)
    return tool_configuration(settings.public_urls[0], target, choosing)


@router.get("/lti/configuration.json")
def lti_configuration(settings: SettingsHere) -> Response:
    """Return what this tool is, for platforms and people who register it by hand."""
    return JSONResponse(configuration_of(settings))


@router.get("/lti/register/{ticket}")
def begin_registration(
    request: Request,
    ticket: str,
    session: Reading,
    now: Now,
    openid_configuration: str = "",
    registration_token: str = "",
) -> Response:
    """Show the page that a platform's administrator opens from there, most often in a frame."""
    invitation = find_invitation(session, ticket, now)
    if invitation is None:
        return error(request, 404, USED_UP)
    typed = {"openid_configuration": openid_configuration, "token": registration_token}
    return _page(request, invitation, ticket, typed)


@router.post("/lti/register/{ticket}")
async def finish_registration(
    request: Request,
    ticket: str,
    database: DatabaseHere,
    settings: SettingsHere,
    errands: ErrandsHere,
    now: Now,
    openid_configuration: Long = "",
    token: Annotated[str, Form(max_length=10_000)] = "",
) -> Response:
    """Register with the platform, and it here."""
    invitation = await run_in_threadpool(_invitation, database, ticket, now)
    if invitation is None:
        return error(request, 404, USED_UP)
    outside: Outside = request.app.state.outside
    ask = partial(
        register_at,
        outside,
        openid_configuration,
        token,
        invitation.hosts.split(),
        configuration_of(settings),
    )
    typed = {"openid_configuration": openid_configuration, "token": token}
    try:
        said, deployment_id = await errands.run(ask)
    except (NoAnswer, NotTaken) as trouble:
        return _page(request, invitation, ticket, typed, f"{trouble} Nothing was registered here.")

    def keep() -> bool:
        with database.write() as session:
            current = find_invitation(session, ticket, now, lock=True)
            if current is not None:
                what = f"{current.name} registered itself"
                note(session, now, None, Action.CHANGED_PLATFORM, detail=what)
                register(session, current, said, deployment_id)
                own_keys.ensure_key(session, settings.key_secret, now)
            return current is not None

    if not await run_in_threadpool(keep):
        return error(request, 404, USED_UP)
    parts = urlsplit(said.issuer)
    answer = page(
        request,
        "lti/registered.html",
        name=invitation.name,
        deployment=deployment_id,
        origin=f"{parts.scheme}://{parts.netloc}",
    )
    return _for_inviting_frame(answer, invitation)


def _invitation(database: Database, ticket: str, now: Now) -> LtiInvitation | None:
    with database.read() as session:
        return find_invitation(session, ticket, now)


def _page(
    request: Request,
    invitation: LtiInvitation,
    ticket: str,
    typed: dict[str, str],
    mistake: str = "",
) -> Response:
    answer = page(
        request,
        "lti/register.html",
        422 if mistake else 200,
        name=invitation.name,
        ticket=ticket,
        typed=typed,
        mistake=mistake,
    )
    return _for_inviting_frame(answer, invitation)


def _for_inviting_frame(answer: Response, invitation: LtiInvitation) -> Response:
    """Let frames of the invited hosts hold the page, and let it tell its opener that it ends."""
    hosts = invitation.hosts.split()
    local = [host for host in hosts if urlsplit(f"//{host}").hostname in LOOPBACK]
    origins = [f"https://{host}" for host in hosts] + [f"http://{host}" for host in local]
    policy = content_security_policy(frame_ancestors=" ".join(origins))
    answer.headers["Content-Security-Policy"] = policy
    answer.headers["Cross-Origin-Opener-Policy"] = "unsafe-none"
    return answer
