"""Signing in by the college's OpenID Connect provider, if the settings name one.

It opens an account that is here already, by the address that the provider has verified; it never
makes one.
"""

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from server.remote.http import NoAnswer, NotTaken
from server.remote.id_token import TokenRefused
from server.remote.openid import OpenId, Secrets, new_secrets
from server.settings import Settings
from server.store.people import find_user
from server.web.accounts import own_address, sign_in_as
from server.web.dependencies import DatabaseHere, Now, SettingsHere
from server.web.rendering import error

router = APIRouter()

COOKIE = "rungmark_openid"
BACK = "/sign-in/openid/back"
MINUTES = 10

NOT_SET_UP = "Signing in from elsewhere is not set up here. Sign in with your password."
NOT_BEGUN = "This sign-in did not begin in this browser, or is too old. Begin again."
NOBODY = "Nobody here has the address {email}. Ask an administrator for an account."


@router.get("/sign-in/openid")
def openid_sign_in(request: Request, settings: SettingsHere, next: str = "/") -> Response:
    """Send the browser to the provider."""
    provider = _provider(request)
    if provider is None:
        return error(request, 400, NOT_SET_UP)
    kept = new_secrets()
    try:
        address = provider.begin(kept, _back(settings))
    except (NoAnswer, NotTaken) as trouble:
        return error(request, 502, f"{trouble} Sign in with your password, or try again later.")
    answer = RedirectResponse(address, 302)
    # It holds no more than this browser may know; the code that comes back is worth nothing alone.
    value = " ".join((kept.state, kept.nonce, kept.verifier, own_address(next)))
    answer.set_cookie(
        COOKIE,
        value.encode().hex(),
        max_age=MINUTES * 60,
        path=BACK,
        httponly=True,
        samesite="lax",
        secure=settings.secure,
    )
    return answer


@router.get(BACK)
def openid_back(
    request: Request,
    database: DatabaseHere,
    settings: SettingsHere,
    now: Now,
    code: str = "",
    state: str = "",
) -> Response:
    """The provider sends the browser back."""
    provider = _provider(request)
    if provider is None:
        return error(request, 400, NOT_SET_UP)
    kept, then = _kept(request.cookies.get(COOKIE, ""))
    if kept is None or not state or state != kept.state:
        return _refused(request, NOT_BEGUN)
    if not code:
        return _refused(request, "The provider did not sign you in. Begin again.")
    try:
        email = provider.email(code, kept, _back(settings), now)
    except (NotTaken, TokenRefused) as trouble:
        return _refused(request, str(trouble))
    except NoAnswer as trouble:
        return error(request, 502, f"{trouble} Sign in with your password, or try again later.")
    with database.write() as session:
        user = find_user(session, email)
        if user is None:
            return _refused(request, NOBODY.format(email=email[:254]))
        answer = sign_in_as(session, user, own_address(then), settings, now)
    answer.delete_cookie(COOKIE, path=BACK)
    return answer


def _refused(request: Request, sentence: str) -> Response:
    answer = error(request, 400, sentence)
    answer.delete_cookie(COOKIE, path=BACK)
    return answer


def _kept(cookie: str) -> tuple[Secrets | None, str]:
    try:
        state, nonce, verifier, then = bytes.fromhex(cookie).decode().split(" ", 3)
    except ValueError:
        return None, "/"
    return Secrets(state, nonce, verifier), then


def _back(settings: Settings) -> str:
    return f"{settings.public_urls[0]}{BACK}"


def _provider(request: Request) -> OpenId | None:
    found: OpenId | None = request.app.state.openid
    return found
