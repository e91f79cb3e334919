"""Launches from learning-management systems, LTI 1.3: login, launch, and coming in.

A launch is three requests. ``/lti/login`` begins it and gives the browser a cookie for its state.
``/lti/launch`` gets the platform's token, posted from its page, and so without our cookies; the
token is checked in full and kept. It sends the browser on to ``/lti/enter``, which has the cookie
again: only the browser that began comes in, and cookies stay ``SameSite=Lax``.

Our pages are in no frame of others. A launch inside a frame of the platform gets a page that has
nothing but a link that opens a window of its own, and begins there. Who chooses new links stays in
the frame if the platform keeps the state for us (``frames.py``, ``framed.py``).
"""

from datetime import datetime
from functools import partial
from typing import Annotated
from urllib.parse import urlencode, urlsplit

from fastapi import APIRouter, Depends, Form, Request
from fastapi.concurrency import run_in_threadpool
from sqlalchemy.orm import Session
from starlette.datastructures import FormData
from starlette.responses import JSONResponse, RedirectResponse, Response

from server.remote import own_keys
from server.remote.http import NoAnswer
from server.remote.id_token import TokenRefused, verified_claims
from server.remote.launch import (
    Launch,
    back_url_of,
    from_document,
    leads_to,
    read_launch,
    to_document,
)
from server.store import lti_choices, lti_entry
from server.store.courses import HANDING_IN, TEACHING, SectionRole
from server.store.database import Database
from server.store.lti import LtiChoice, LtiContext, LtiLogin, Platform
from server.store.lti_choices import Wanted
from server.store.lti_entry import LaunchUser, NotYet, PlatformCourse, PlatformLink, ProofNeeded
from server.store.lti_platforms import get_platform
from server.store.people import User
from server.web.accounts.sign_in import sign_in_as
from server.web.cookies import drop_cookie, read_cookie, set_cookie
from server.web.dependencies import DatabaseHere, KeySetsHere, Now, SettingsHere, Writing
from server.web.errands import ErrandsHere
from server.web.lti.addresses import choosing_target_of, target_of, way_back
from server.web.lti.frames import (
    asking_page,
    for_frame,
    in_frame,
    keeping_page,
    storage_key,
    window_page,
)
from server.web.rendering import error, page

router = APIRouter()

ENTER = "/lti/enter"

FROM_PLATFORMS = ("/lti/login", "/lti/launch")
"""What platforms' pages post to."""

UNKNOWN = (
    "This launch did not begin here, is more than ten minutes old, or was used. "
    "Open the link again."
)
OTHER_BROWSER = "This launch began in another browser. Open the link in your LMS again, here."
NOT_TO_CHOOSE = (
    "The LMS opens a link at the address for choosing new ones. Its administrator sets "
    "/lti/launch as the address of links."
)


@router.get("/lti/keys")
def lti_keys(database: DatabaseHere, settings: SettingsHere, now: Now) -> Response:
    """Publish the keys by which platforms check what we sign (RFC 7517).

    Some platforms look here before they can be registered, so the first look makes the first key.
    """
    with database.read() as session:
        found = own_keys.published(session, settings.key_secret, now)
        missing = own_keys.signing_key(session, now) is None
    if missing:
        with database.write() as session:
            own_keys.ensure_key(session, settings.key_secret, now)
            found = own_keys.published(session, settings.key_secret, now)
    return JSONResponse(found)


async def sent_form(request: Request) -> FormData:
    return await request.form()


@router.api_route("/lti/login", methods=["GET", "POST"])
def lti_login(
    request: Request,
    session: Writing,
    settings: SettingsHere,
    now: Now,
    form: Annotated[FormData, Depends(sent_form)],
) -> Response:
    """Begin a sign-in for a platform (Security Framework 1.0, 5.1.1.1; LTI Core 1.3, 4.1)."""
    values = {name: str(value) for name, value in {**request.query_params, **form}.items()}
    issuer, client_id = values.get("iss", ""), values.get("client_id", "")
    found = lti_entry.platforms_of(session, issuer, client_id)
    if not found:
        sentence = (
            f"The LMS {issuer[:200] or '(none)'} is not registered here"
            f"{' with this client id' if client_id else ''}. The administrator registers it."
        )
        return error(request, 400, sentence)
    if len(found) > 1:
        sentence = f"{issuer[:200]} is registered with several client ids; it has to send one."
        return error(request, 400, sentence)
    if not values.get("login_hint"):
        return error(request, 400, "The LMS does not say who signs in (login_hint).")
    leads, here = values.get("target_link_uri", ""), target_of(settings)
    choosing = leads_to(leads, choosing_target_of(settings))
    if not choosing and not leads_to(leads, here):
        sentence = f"The launch leads elsewhere than {here}, the address of links here."
        return error(request, 400, sentence)
    (platform,) = found
    framed = in_frame(request)
    target = values.get("lti_storage_target", "") if framed and choosing else ""
    if framed and not 0 < len(target) <= 255:
        return window_page(request, platform, values)
    state, nonce = lti_entry.begin_login(session, platform, now, target)
    asked = {
        "scope": "openid",
        "response_type": "id_token",
        "response_mode": "form_post",
        "prompt": "none",
        "client_id": platform.client_id,
        "redirect_uri": here,
        "login_hint": values["login_hint"],
        "state": state,
        "nonce": nonce,
    }
    # Handed back as it came (LTI Core 1.3, 4.1.1 'Additional login parameters').
    if "lti_message_hint" in values:
        asked["lti_message_hint"] = values["lti_message_hint"]
    joint = "&" if urlsplit(platform.login_url).query else "?"
    onward = f"{platform.login_url}{joint}{urlencode(asked)}"
    if framed:
        return keeping_page(request, platform, values, state, onward)
    answer = RedirectResponse(onward, 302)
    lasts = lti_entry.LOGIN_LASTS
    set_cookie(answer, request, storage_key(state), state, lasts=lasts, path=ENTER)
    return answer


@router.post("/lti/launch")
async def lti_launch(
    request: Request,
    database: DatabaseHere,
    settings: SettingsHere,
    key_sets: KeySetsHere,
    errands: ErrandsHere,
    now: Now,
    state: Annotated[str, Form(max_length=200)] = "",
    id_token: Annotated[str, Form()] = "",
    error_description: Annotated[str, Form(max_length=1000)] = "",
    refused: Annotated[str, Form(max_length=200, alias="error")] = "",
) -> Response:
    """Take the platform's word for who comes (Security Framework 1.0, 5.1.1.3 and 5.1.3)."""
    begun = await run_in_threadpool(_begun, database, state, now)
    if begun is None:
        return error(request, 400, UNKNOWN)
    platform, login = begun
    refuse = partial(refusal, request, platform, framed=bool(login.storage_target))
    if refused:
        return refuse(f"The LMS does not sign you in: {error_description or refused}")
    check = partial(
        verified_claims,
        id_token,
        key_sets,
        platform.keys_url,
        platform.hosts,
        issuer=platform.issuer,
        client_id=platform.client_id,
        nonce=login.nonce,
        now=now,
    )
    try:
        claims = await errands.run(check)
    except TokenRefused as trouble:
        return challenge(refuse(str(trouble), status=401))
    except NoAnswer as trouble:
        return refuse(f"The sign-in can't be checked now. {trouble} Try again soon.", status=502)
    try:
        launch = read_launch(claims, target_of(settings))
    except TokenRefused as trouble:
        return refuse(str(trouble), back_url=back_url_of(claims))
    if login.storage_target and launch.wanted is None:
        return refuse(NOT_TO_CHOOSE, back_url=launch.back_url)
    mistake = await run_in_threadpool(_keep, database, platform.id, state, launch, now)
    if mistake:
        return refuse(mistake, back_url=launch.back_url)
    if login.storage_target:
        return asking_page(request, platform, login.storage_target, state)
    return RedirectResponse(f"/lti/enter?{urlencode({'state': state})}", 303)


def _begun(database: Database, state: str, now: datetime) -> tuple[Platform, LtiLogin] | None:
    """Return the platform and the login that waits for its launch."""
    with database.read() as session:
        login = lti_entry.find_login(session, state, now)
        if login is None or login.launch is not None:
            return None
        return get_platform(session, login.platform_id), login


def _keep(database: Database, platform_id: int, state: str, launch: Launch, now: datetime) -> str:
    """Keep the launch until its browser comes for it; return what is wrong, if anything."""
    with database.write() as session:
        if not lti_entry.knows_deployment(session, platform_id, launch.deployment_id):
            return (
                f"The deployment {launch.deployment_id} of the LMS is not registered here. "
                "The administrator adds it to the LMS's deployments."
            )
        if not lti_entry.use_nonce(session, state, to_document(launch), now):
            return UNKNOWN
    return ""


@router.get(ENTER)
def lti_enter(
    request: Request, database: DatabaseHere, settings: SettingsHere, now: Now, state: str = ""
) -> Response:
    """Finish a launch in the browser that began it."""
    if not state or read_cookie(request, storage_key(state), ENTER) != state:
        return error(request, 400, OTHER_BROWSER)
    visitor = request.state.visitor
    waiting = follow_role(database, state, now)
    if waiting is None:
        return error(request, 400, UNKNOWN)
    platform, launch = waiting
    try:
        with database.write() as session:
            login = lti_entry.find_login(session, state, now, lock=True)
            if login is None or login.launch is None:
                return error(request, 400, UNKNOWN)
            user, context, role = admit(session, platform, launch, visitor and visitor.id, now)
            address = _lead(session, context, launch, user, role, now)
            lti_entry.end_login(session, login)
            answer = sign_in_as(request, session, user, address, settings, now)
    except ProofNeeded:
        # The launch waits until they have signed in to the account.
        back = urlencode({"next": f"/lti/enter?{urlencode({'state': state})}"})
        return RedirectResponse(f"/sign-in?{back}", 303)
    except NotYet as refused:
        return refusal(request, platform, str(refused), back_url=launch.back_url, status=200)
    drop_cookie(answer, request, storage_key(state), ENTER)
    return answer


def follow_role(database: Database, state: str, now: datetime) -> tuple[Platform, Launch] | None:
    """Return the launch that waits, after its role has been brought up to date; None if none does.

    It is stored by itself: whatever keeps them from coming in, a role that was taken away is gone.
    """
    with database.write() as session:
        login = lti_entry.find_login(session, state, now)
        if login is None or login.launch is None:
            return None
        platform = get_platform(session, login.platform_id)
        launch = from_document(login.launch)
        lti_entry.apply_role(session, platform, _course(launch), launch.subject, launch.role, now)
        return platform, launch


def admit(
    session: Session, platform: Platform, launch: Launch, visitor_id: int | None, now: datetime
) -> tuple[User, LtiContext, SectionRole | None]:
    """Bring somebody into their section; return who it is, from which course, and their role.

    Raises NotYet and ProofNeeded.
    """
    if not launch.context_id:
        raise NotYet(
            "The LMS opened this link outside of a course, so there is no section for it here. "
            "Open it from the course in the LMS."
        )
    if launch.role is None:
        raise NotYet(launch.why_not)
    comer = LaunchUser(launch.subject, launch.role, launch.name, launch.listed_as, launch.email)
    context = lti_entry.context_of(session, platform, _course(launch), comer)
    user = lti_entry.account_of(session, platform, comer, visitor_id, now)
    role = lti_entry.admit_launch(session, context, user, comer, now)
    return user, context, role


def begin_choice(
    session: Session,
    context: LtiContext,
    wanted: Wanted,
    user: User,
    role: SectionRole | None,
    now: datetime,
) -> LtiChoice:
    """Begin to choose new links for the platform. Raises NotYet."""
    if role in HANDING_IN:
        raise NotYet("Only teaching staff of the course can choose exercises for it.")
    return lti_choices.begin_choice(session, context, user, wanted, now)


def _lead(
    session: Session,
    context: LtiContext,
    launch: Launch,
    user: User,
    role: SectionRole | None,
    now: datetime,
) -> str:
    """Return where they are led: to their work, or to what has to be chosen first."""
    if launch.wanted is not None:
        choice = begin_choice(session, context, launch.wanted, user, role, now)
        address = f"/lti/choices/{choice.id}"
    else:
        address = _work(session, context, launch, user, role, now)
    if context.section_id is None:
        address = f"/lti/contexts/{context.id}?{urlencode({'then': address})}"
    return address


def _course(launch: Launch) -> PlatformCourse:
    return PlatformCourse(
        launch.deployment_id, launch.context_id, launch.context_title, launch.memberships_url
    )


def _work(
    session: Session,
    context: LtiContext,
    launch: Launch,
    user: User,
    role: SectionRole | None,
    now: datetime,
) -> str:
    target = PlatformLink(
        launch.resource_link_id,
        launch.title,
        launch.assignment_id,
        launch.line_item,
        launch.line_items,
        launch.context_history,
        launch.link_history,
    )
    link = lti_entry.link_of(session, context, target, role)
    if link.assignment is None:
        return f"/lti/links/{link.id}"
    lti_choices.queue_for(session, link, now, [user.id])
    if role in TEACHING:
        return f"/assignments/{link.assignment_id}/gradebook"
    # The home page says when it opens.
    return f"/assignments/{link.assignment_id}" if now >= link.assignment.opens_at else "/"


def challenge(answer: Response) -> Response:
    """Say in the header what every 401 has to say: which token would be taken.

    An ID token that does not hold is refused with 401 (Security Framework 1.0, 5.1.3), and a 401
    carries a challenge (RFC 9110, 15.5.2), here that of bearer tokens (RFC 6750, 3).
    """
    answer.headers["WWW-Authenticate"] = 'Bearer realm="LTI", error="invalid_token"'
    return answer


def refusal(
    request: Request,
    platform: Platform,
    sentence: str,
    *,
    back_url: str | None = None,
    status: int = 400,
    framed: bool = False,
) -> Response:
    """Say why somebody can't come in, with the way back to the platform if it names one."""
    back = way_back(platform, back_url, sentence)
    answer = page(
        request, "lti/refused.html", status, sentence=sentence, back=back, lms=platform.name
    )
    return for_frame(answer, platform) if framed else answer
