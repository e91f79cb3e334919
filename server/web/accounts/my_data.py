"""My data: what is stored about a person, who saw it, and asking for a correction."""

from typing import Annotated

from fastapi import APIRouter, Form, HTTPException, Request
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from server.store.correction_requests import (
    MAX_TEXT,
    answer_request,
    ask_for_correction,
    requests_by,
)
from server.store.courses import sections_of
from server.store.disclosures import disclosures_of
from server.store.person_export import summarize_person
from server.store.retention import retention_days
from server.web.access import VisitorHere
from server.web.dependencies import Now, Reading, Writing
from server.web.rendering import page

router = APIRouter()

SHOWN = 500
"""Lines of the disclosure record on the page; the export has all."""


@router.get("/my-data")
def my_data_page(request: Request, session: Reading, visitor: VisitorHere) -> Response:
    """Show what is stored about the visitor, and who looked at it."""
    return _shown(request, session, visitor.id)


@router.post("/my-data/corrections")
def ask_correction(
    request: Request,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    section: Annotated[int, Form()] = 0,
    text: Annotated[str, Form(max_length=MAX_TEXT)] = "",
) -> Response:
    """Ask the instructors of a section to correct something."""
    if section not in {each.id for each, _ in sections_of(session, visitor.id)}:
        sentence = "You are not in that section. Choose one of yours."
    else:
        sentence = ask_for_correction(session, visitor.id, section, text.strip(), now)
    if sentence:
        return _shown(request, session, visitor.id, sentence, text)
    return RedirectResponse("/my-data#corrections", 303)


@router.post("/sections/{section_id}/corrections")
def answer_correction(
    section_id: int,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    which: Annotated[int, Form()] = 0,
    answer: Annotated[str, Form(max_length=MAX_TEXT)] = "",
) -> Response:
    """Answer what somebody of the section asked to have corrected."""
    if answer.strip() and not answer_request(
        session, section_id, which, answer.strip(), by_id=visitor.id, now=now
    ):
        raise HTTPException(404)
    return RedirectResponse(f"/sections/{section_id}/gradebook#corrections", 303)


def _shown(
    request: Request, session: Session, user_id: int, mistake: str = "", typed: str = ""
) -> Response:
    return page(
        request,
        "accounts/my_data.html",
        422 if mistake else 200,
        stored=summarize_person(session, user_id),
        disclosures=disclosures_of(session, user_id, SHOWN),
        shown=SHOWN,
        sections=[each for each, _ in sections_of(session, user_id)],
        requests=requests_by(session, user_id),
        days=retention_days(session),
        mistake=mistake,
        typed=typed,
        longest=MAX_TEXT,
    )
