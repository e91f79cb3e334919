"""The instructor's gradebook of one assignment, as a page and as CSV."""

from fastapi import APIRouter, Request
from starlette.responses import Response

from server.store.courses import Assignment, find_assignment
from server.store.gradebook import csv_text
from server.store.gradebook import gradebook as read_gradebook
from server.web.dependencies import Now, Reading
from server.web.rendering import page

router = APIRouter()


@router.get("/assignments/{assignment_id}/gradebook")
def gradebook(request: Request, assignment_id: int, session: Reading, now: Now) -> Response:
    book = read_gradebook(session, _assignment(session, assignment_id))
    return page(request, "gradebook/gradebook.html", book=book, now=now)


@router.get("/assignments/{assignment_id}/gradebook.csv")
def gradebook_csv(assignment_id: int, session: Reading) -> Response:
    assignment = _assignment(session, assignment_id)
    # The mark at the beginning tells spreadsheets that names are in UTF-8.
    text = "\ufeff" + csv_text(read_gradebook(session, assignment))
    section = assignment.section
    name = f"{section.course.code}-{section.number}-{assignment.exercise}.csv".replace(" ", "")
    return Response(
        text,
        media_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


def _assignment(session: Reading, assignment_id: int) -> Assignment:
    found = find_assignment(session, assignment_id)
    assert found is not None, "the access rule has found it"
    return found
