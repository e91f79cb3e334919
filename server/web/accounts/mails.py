"""Which mails somebody gets about their course work."""

from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response

from server.store.mail_outbox import MailKind, choose_mails, turned_off
from server.web.access import VisitorHere
from server.web.dependencies import Reading, Writing
from server.web.rendering import page

router = APIRouter()

SAYS = {
    MailKind.MARKED_AGAIN: "What you submitted was marked again, because the exercise was changed",
    MailKind.COMMENT: "An instructor commented on what you submitted",
    MailKind.MORE_TIME: "You have more time for an exercise",
    MailKind.DUE_SOON: "An exercise is due within a day, and you have not reached all points",
}


@router.get("/mail")
def mail_page(request: Request, session: Reading, visitor: VisitorHere) -> Response:
    unwanted = turned_off(session, visitor.id)
    return page(request, "accounts/mails.html", says=SAYS, unwanted=unwanted)


@router.post("/mail")
def set_mails(
    session: Writing,
    visitor: VisitorHere,
    kind: Annotated[list[MailKind] | None, Form()] = None,
) -> Response:
    """Let the visitor get the kinds that are ticked, and no others."""
    choose_mails(session, visitor.id, kind or ())
    return RedirectResponse("/mail", 303)
