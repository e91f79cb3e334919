"""A link for a new password by mail, for whoever forgot theirs."""

import logging
from datetime import datetime
from functools import partial
from typing import Annotated

from fastapi import APIRouter, BackgroundTasks, Form, Request
from starlette.responses import Response

from server.remote.http import NoAnswer
from server.remote.mail import send_mail
from server.settings import Settings
from server.store.database import Database
from server.store.guesses import begin_guess, source_of_address
from server.store.passwords import has_new_link, make_link
from server.store.people import OVERSEEING, find_user, normal_email
from server.web.accounts.joining import address_of_link
from server.web.accounts.sign_in import client_address, wait_sentence
from server.web.dependencies import DatabaseHere, Now, SettingsHere
from server.web.errands import Errands, ErrandsHere
from server.web.rendering import page

router = APIRouter()

log = logging.getLogger(__name__)

TEXT = """\
Somebody asked for a new password for your account at
{address}

To set one, open this link within a day:
{link}

If it was not you, do nothing: your password stays as it is.
"""


@router.get("/forgotten")
def forgotten_page(request: Request) -> Response:
    return _page(request)


@router.post("/forgotten")
def send_link(
    request: Request,
    database: DatabaseHere,
    settings: SettingsHere,
    errands: ErrandsHere,
    now: Now,
    tasks: BackgroundTasks,
    email: Annotated[str, Form(max_length=254)] = "",
) -> Response:
    """Mail a link if there is such an account; the answer tells nobody whether there is."""
    account = normal_email(email)
    source = source_of_address(client_address(request))
    with database.write() as session:
        # Counted apart from wrong passwords.
        wait = begin_guess(session, f"link for {account}", source, now)
    if wait:
        return _page(request, email, 429, mistake=wait_sentence(wait))
    # Everything that takes longer where there is an account comes after the answer.
    tasks.add_task(_mail_link, errands, partial(_send, database, settings, account, now))
    return _page(request, sent=True)


async def _mail_link(errands: Errands, errand: "partial[None]") -> None:
    try:
        await errands.run(errand)
    except (OSError, NoAnswer) as error:
        log.error("a link for a new password could not be mailed: %s", type(error).__name__)


def _send(database: Database, settings: Settings, account: str, now: datetime) -> None:
    with database.write() as session:
        user = find_user(session, account)
        if user is None or user.disabled_at is not None or has_new_link(session, user, now):
            return
        # Who sees the work of all sections is let in by no other system's word alone.
        if user.role in OVERSEEING:
            return
        # Whoever reads the mail is the owner of the address, as with an administrator's link.
        link = address_of_link(settings, make_link(session, user, now, by_id=None))
        to = user.email
    text = TEXT.format(address=settings.public_urls[0], link=link)
    send_mail(settings, to, "A new password for Rungmark", text, now)


def _page(
    request: Request,
    email: str = "",
    status: int = 200,
    *,
    mistake: str = "",
    sent: bool = False,
) -> Response:
    by_mail = request.app.state.settings.mail_server is not None
    return page(
        request,
        "accounts/forgotten.html",
        status,
        email=email,
        mistake=mistake,
        sent=sent,
        by_mail=by_mail,
    )
