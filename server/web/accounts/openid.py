"""Signing in by the college's OpenID Connect provider, if the settings name one.

It opens an account that is here already; it never makes one. The address that the provider has
verified finds the account at the first sign-in, the provider's subject does ever after.
"""

from datetime import datetime, timedelta
from functools import partial
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from server.remote.http import NoAnswer, NotTaken
from server.remote.id_token import TokenRefused
from server.remote.openid import Identity, OpenId, Secrets, new_secrets
from server.settings import Settings
from server.store.database import Database
from server.store.openid import account_of_subject
from server.store.openid_entry import NotTheirs, PasswordFirst, connect
from server.web.accounts.sign_in import own_address, sign_in_as
from server.web.cookies import drop_cookie, read_cookie, set_cookie
from server.web.dependencies import DatabaseHere, Now, SettingsHere
from server.web.errands import ErrandsHere
from server.web.rendering import error, page

router = APIRouter()

COOKIE = "rungmark_openid"
BACK = "/sign-in/openid/back"
MINUTES = 10

SIGNED_IN = "rungmark_openid_token"
"""The cookie that keeps the provider's token until signing out, which hands it back."""

SIGN_OUT = "/sign-out/openid"
LONGEST_COOKIE = 3500
"""Letters of a token; browsers keep cookies of 4096 bytes (RFC 6265, section 6.1; from memory)."""

NOT_SET_UP = "Signing in from elsewhere is not set up here. Sign in with your password."
NOT_BEGUN = "This sign-in did not begin in this browser, or is too old. Begin again."
NOBODY = "No account here has the address {email}. Ask an administrator for an account."
OTHER_WAY = "{trouble} Sign in with your password, or try again in a minute."


@router.get("/sign-in/openid")
async def openid_sign_in(
    request: Request, settings: SettingsHere, errands: ErrandsHere, next: str = "/"
) -> Response:
    """Send the browser to the provider."""
    provider = _provider(request)
    if provider is None:
        return error(request, 400, NOT_SET_UP)
    kept = new_secrets()
    try:
        address = await errands.run(partial(provider.begin, kept, _back(settings)))
    except (NoAnswer, NotTaken) as trouble:
        return error(request, 502, OTHER_WAY.format(trouble=trouble))
    answer = RedirectResponse(address, 302)
    # It holds no more than this browser may know; the code that comes back is worth nothing alone.
    value = " ".join((kept.state, kept.nonce, kept.verifier, own_address(next)))
    lasts = timedelta(minutes=MINUTES)
    set_cookie(answer, request, COOKIE, value.encode().hex(), lasts=lasts, path=BACK)
    return answer


@router.get(BACK)
async def openid_back(
    request: Request,
    database: DatabaseHere,
    settings: SettingsHere,
    errands: ErrandsHere,
    now: Now,
    code: str = "",
    state: str = "",
) -> Response:
    """Finish a sign-in for which the provider sends the browser back."""
    provider = _provider(request)
    if provider is None:
        return error(request, 400, NOT_SET_UP)
    kept, then = _kept(read_cookie(request, COOKIE, BACK) or "")
    if kept is None or not state or state != kept.state:
        return _refused(request, NOT_BEGUN)
    if not code:
        return _refused(request, "The provider did not sign you in. Begin again.")
    try:
        identity = await errands.run(partial(provider.identity, code, kept, _back(settings), now))
        known = await run_in_threadpool(_is_known, database, identity)
        email = "" if known else await errands.run(partial(provider.verified_email, identity))
        answer = await run_in_threadpool(
            _sign_in, request, database, settings, identity, email, own_address(then), now
        )
    except (NotTaken, TokenRefused, NotTheirs) as trouble:
        return _refused(request, str(trouble))
    except PasswordFirst:
        # Signed in with the password, they come here once more.
        again = f"/sign-in/openid?{urlencode({'next': own_address(then)})}"
        return RedirectResponse(f"/sign-in?{urlencode({'next': again})}", 303)
    except NoAnswer as trouble:
        return error(request, 502, OTHER_WAY.format(trouble=trouble))
    if answer is None:
        return _refused(request, NOBODY.format(email=email[:254]))
    drop_cookie(answer, request, COOKIE, BACK)
    return answer


@router.get(SIGN_OUT)
def openid_sign_out(request: Request, settings: SettingsHere) -> Response:
    """After signing out here, send a browser that came by the provider there, to sign out, too.

    A page does it and no redirection: a browser also holds the redirections of the sign-out form
    to our policy, by which forms stay on this server.
    """
    provider, token = _provider(request), read_cookie(request, SIGNED_IN, SIGN_OUT)
    if request.state.visitor is not None:
        return RedirectResponse("/", 303)
    if provider is None or token is None:
        return RedirectResponse("/sign-in", 303)
    site = settings.public_urls[0]
    address = provider.end_session(token, f"{site}/sign-in")
    answer: Response
    if address is None:
        answer = RedirectResponse("/sign-in", 303)
    else:
        name = settings.openid.name if settings.openid else ""
        answer = page(request, "accounts/signed_out.html", address=address, name=name)
    drop_cookie(answer, request, SIGNED_IN, SIGN_OUT)
    return answer


def _is_known(database: Database, identity: Identity) -> bool:
    with database.read() as session:
        return account_of_subject(session, identity.issuer, identity.subject) is not None


def _sign_in(
    request: Request,
    database: Database,
    settings: Settings,
    identity: Identity,
    email: str,
    then: str,
    now: datetime,
) -> Response | None:
    """Sign the account's owner in; None if there is no account. Raises NotTheirs, PasswordFirst."""
    visitor = request.state.visitor
    with database.write() as session:
        user = connect(
            session,
            identity.issuer,
            identity.subject,
            email,
            visitor.id if visitor else None,
            now,
        )
        if user is None:
            return None
        answer = sign_in_as(request, session, user, then, settings, now)
    token = identity.id_token if len(identity.id_token) <= LONGEST_COOKIE else ""
    set_cookie(answer, request, SIGNED_IN, token, lasts=settings.session_length, path=SIGN_OUT)
    return answer


def _refused(request: Request, sentence: str) -> Response:
    answer = error(request, 400, sentence)
    drop_cookie(answer, request, COOKIE, BACK)
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
