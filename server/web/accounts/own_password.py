"""The page on which people change their own password."""

from datetime import datetime, timedelta
from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from server.store.database import Database
from server.store.guesses import begin_guess, forget_guesses, source_of_address
from server.store.passwords import change_password
from server.store.people import User, get_person, hash_password
from server.web.access import Visitor, VisitorHere
from server.web.accounts.password_rules import weakness
from server.web.accounts.sign_in import BUSY, client_address, wait_sentence
from server.web.accounts.sign_in_line import LineFull, SignInLineHere
from server.web.dependencies import DatabaseHere, Now, Reading
from server.web.open_sockets import RECHECK
from server.web.rendering import page

router = APIRouter()

NO_PASSWORD = (
    "This account has no password: you sign in through your school. Ask an administrator for a "
    "link if you need one."
)
WRONG = "The current password is not right, so nothing was changed. Type it again."
CHANGED_MEANWHILE = (
    "The password was changed somewhere else just now, so nothing was changed here. "
    "Sign in again with the new one."
)


@router.get("/my-password")
def own_password_page(request: Request, session: Reading, visitor: VisitorHere) -> Response:
    """Show the form."""
    return _page(request, get_person(session, visitor.id))


@router.post("/my-password", dependencies=[RECHECK])
async def change_own_password(
    request: Request,
    database: DatabaseHere,
    visitor: VisitorHere,
    now: Now,
    line: SignInLineHere,
    current: Annotated[str, Form(max_length=200)] = "",
    password: Annotated[str, Form(max_length=200)] = "",
) -> Response:
    """Set a new password for whoever knows the current one, and sign out all other browsers."""
    # A stolen session is no way to try passwords, nor to make the owner wait when they sign in.
    place = (f"password of {visitor.id}", source_of_address(client_address(request)))
    user, wait = await run_in_threadpool(_begin, database, visitor, place, now)
    if user.password_hash is None:
        return await run_in_threadpool(_page, request, user, NO_PASSWORD)
    if wait:
        return await run_in_threadpool(_page, request, user, wait_sentence(wait), 429)
    try:
        fits, _ = await line.verify(place[1], current, user.password_hash)
    except LineFull:
        return await run_in_threadpool(_page, request, user, BUSY, 429)

    def finish() -> Response:
        if not fits:
            return _page(request, user, WRONG)
        if wrong := weakness(password, user.name, user.email):
            return _page(request, user, wrong)
        new_hash = hash_password(password)
        with database.write() as session:
            forget_guesses(session, *place)
            if not change_password(session, user, new_hash, now, keep_session=visitor.session_hash):
                return _page(request, user, CHANGED_MEANWHILE)
        return RedirectResponse("/sessions?password=changed", 303)

    return await run_in_threadpool(finish)


def _begin(
    database: Database, visitor: Visitor, place: tuple[str, str], now: datetime
) -> tuple[User, timedelta]:
    """Count the try before the password is looked at."""
    with database.write() as session:
        return get_person(session, visitor.id), begin_guess(session, *place, now)


def _page(request: Request, user: User, mistake: str = "", status: int = 422) -> Response:
    return page(
        request,
        "accounts/own_password.html",
        status if mistake else 200,
        person=user,
        has_password=user.password_hash is not None,
        no_password=NO_PASSWORD,
        mistake=mistake,
    )
