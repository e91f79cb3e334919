"""The gradebook: of one assignment by requirement, of a section by assignment; also as files."""

from collections.abc import Callable, Iterable
from datetime import datetime
from enum import StrEnum
from typing import Annotated, TypeVar

from fastapi import APIRouter, Query, Request
from sqlalchemy.orm import Session
from starlette.responses import Response

from server.store.correction_requests import open_requests
from server.store.courses import Assignment, Section, find_assignment, find_section
from server.store.gradebook import (
    Gradebook,
    SectionBook,
    SectionRow,
    Standing,
    StudentRow,
    section_book,
    standings_of,
)
from server.store.gradebook import gradebook as read_gradebook
from server.store.lti_outbox import delivery
from server.store.people import get_person
from server.web.dependencies import Now, Reading
from server.web.rendering import fragment, page
from server.web.spreadsheet import Cell, Kind, Share, Table, download

router = APIRouter()


class Order(StrEnum):
    """How rows are sorted."""

    NAME = "name"
    POINTS = "points"
    LATE = "late"
    TIME = "time"


class Show(StrEnum):
    """Which rows are shown."""

    ALL = "all"
    MISSING = "missing"
    LATE = "late"
    OPEN = "not complete"
    CHANGED = "set by hand"


AnyRow = TypeVar("AnyRow", StudentRow, SectionRow)


@router.get("/assignments/{assignment_id}/gradebook")
def gradebook(
    request: Request,
    assignment_id: int,
    session: Reading,
    now: Now,
    order: Order = Order.NAME,
    show: Show = Show.ALL,
    find: Annotated[str, Query(max_length=100)] = "",
) -> Response:
    assignment = assignment_here(session, assignment_id)
    book = read_gradebook(session, assignment)

    def shown(row: StudentRow) -> bool:
        return _is_shown(show, row.standing, assignment, now)

    rows = sorted(_found(book.rows, find, shown), key=lambda row: _place(order, row.standing))
    return page(
        request,
        "gradebook/gradebook.html",
        book=book,
        delivery=delivery(session, assignment_id),
        rows=rows,
        now=now,
        order=order,
        show=show,
        find=find,
        orders=Order,
        shows=Show,
    )


@router.get("/sections/{section_id}/gradebook")
def section_gradebook(
    request: Request,
    section_id: int,
    session: Reading,
    now: Now,
    order: Order = Order.NAME,
    show: Show = Show.ALL,
    find: Annotated[str, Query(max_length=100)] = "",
) -> Response:
    book = section_book(session, section_here(session, section_id), now)

    def shown(row: SectionRow) -> bool:
        pairs = zip(book.assignments, row.standings, strict=True)
        return any(_is_shown(show, standing, each, now) for each, standing in pairs)

    rows = list(_found(book.rows, find, shown if show is not Show.ALL else lambda _: True))
    rows.sort(key=lambda row: _section_place(order, row))
    return page(
        request,
        "gradebook/section.html",
        book=book,
        requests=open_requests(session, section_id),
        rows=rows,
        now=now,
        order=order,
        show=show,
        find=find,
        orders=(Order.NAME, Order.POINTS, Order.LATE),
        shows=Show,
    )


@router.get("/assignments/{assignment_id}/students/{student_id}/requirements")
def requirements_of(
    request: Request, assignment_id: int, student_id: int, session: Reading
) -> Response:
    """Show the requirements of the attempt that counts, for a cell of the section's gradebook."""
    assignment = assignment_here(session, assignment_id)
    standing = standings_of(session, student_id, [assignment_id])[assignment_id]
    student = get_person(session, student_id)
    return fragment(
        request,
        "gradebook/_requirements.html",
        assignment=assignment,
        standing=standing,
        student=student,
    )


@router.get("/assignments/{assignment_id}/gradebook.csv")
def gradebook_csv(assignment_id: int, session: Reading, now: Now) -> Response:
    """Download one row per student, a column per requirement."""
    return _file(session, assignment_id, now, "csv")


@router.get("/assignments/{assignment_id}/gradebook.xlsx")
def gradebook_xlsx(assignment_id: int, session: Reading, now: Now) -> Response:
    return _file(session, assignment_id, now, "xlsx")


@router.get("/sections/{section_id}/gradebook.csv")
def section_gradebook_csv(section_id: int, session: Reading, now: Now) -> Response:
    """Download one row per student, a column per assignment."""
    return _section_file(session, section_id, now, "csv")


@router.get("/sections/{section_id}/gradebook.xlsx")
def section_gradebook_xlsx(section_id: int, session: Reading, now: Now) -> Response:
    return _section_file(session, section_id, now, "xlsx")


def _file(session: Session, assignment_id: int, now: datetime, kind: Kind) -> Response:
    book = read_gradebook(session, assignment_here(session, assignment_id))
    section = book.assignment.section
    name = f"{section.course.code}-{section.number}-{book.assignment.exercise}"
    return download(table_of(book, now), name, kind)


def _section_file(session: Session, section_id: int, now: datetime, kind: Kind) -> Response:
    book = section_book(session, section_here(session, section_id), now)
    name = f"{book.section.course.code}-{book.section.number}-{book.section.term.name}"
    return download(section_table(book, now), name, kind)


def table_of(book: Gradebook, now: datetime) -> Table:
    """Return the gradebook of an assignment as a table."""
    head = (
        *("Student", "Email", "Section", "Attempt", "Attempts", "Submitted (UTC)", "Days late"),
        *("Marked", "Points", "Out of", "Set by hand because", "Excused because"),
        *("Requirements set by hand", "State", "Student number"),
    )
    rows: list[tuple[Cell, ...]] = []
    for row in book.rows:
        standing = row.standing
        rows.append(
            (
                row.student.listed_as,
                row.student.email,
                book.assignment.section.number,
                standing.attempt,
                standing.attempts,
                standing.submitted_at,
                standing.days_late if standing.attempt else None,
                standing.score,
                standing.points,
                standing.max_score,
                standing.override.reason if standing.override else None,
                standing.excuse.reason if standing.excuse else None,
                ", ".join(standing.by_hand) or None,
                standing.state(book.assignment, now),
                row.student.student_number,
                *(standing.results.get(name) for name in book.requirements),
            )
        )
    return Table(book.assignment.title, (*head, *book.requirements), tuple(rows))


def section_table(book: SectionBook, now: datetime) -> Table:
    """Return the gradebook of a section as a table.

    After the share so far, points, their maximum and a word on each assignment. They stand in the
    order in which they were set, so that no column moves when a due date does, or when one is set.
    """
    places = sorted(range(len(book.assignments)), key=lambda place: book.assignments[place].id)
    out_of = [_most(row.standings[place].max_score for row in book.rows) for place in places]
    columns = ["Student", "Email", "Student number", "Enrollment", "Share so far"]
    for place in places:
        title = book.assignments[place].title
        columns += [title, f"{title}: out of", f"{title}: state"]
    rows = []
    for row in book.rows:
        cells: list[Cell] = [
            row.student.listed_as,
            row.student.email,
            row.student.student_number,
            "incomplete" if row.enrolment.incomplete else "enrolled",
            None if row.share is None else Share(row.share),
        ]
        for place, most in zip(places, out_of, strict=True):
            standing = row.standings[place]
            cells += [standing.points, most, standing.state(book.assignments[place], now)]
        rows.append(tuple(cells))
    return Table(book.section.title, tuple(columns), tuple(rows))


def _most(points: Iterable[float | None]) -> float | None:
    """Return the points of an exercise, as far as anybody's verdict shows them."""
    return max((each for each in points if each is not None), default=None)


def assignment_here(session: Session, assignment_id: int) -> Assignment:
    """Return the assignment that the access rule has found."""
    found = find_assignment(session, assignment_id)
    assert found is not None, "the access rule has found it"
    return found


def section_here(session: Session, section_id: int) -> Section:
    """Return the section that the access rule has found."""
    found = find_section(session, section_id)
    assert found is not None, "the access rule has found it"
    return found


def _found(rows: Iterable[AnyRow], find: str, shown: Callable[[AnyRow], bool]) -> Iterable[AnyRow]:
    wanted = find.strip().casefold()
    for row in rows:
        student = row.student
        if wanted in f"{student.listed_as} {student.name} {student.email}".casefold() and shown(
            row
        ):
            yield row


def _is_shown(show: Show, standing: Standing, assignment: Assignment, now: datetime) -> bool:
    match show:
        case Show.MISSING:
            return standing.missing(assignment, now)
        case Show.LATE:
            return standing.late
        case Show.OPEN:
            return not standing.complete
        case Show.CHANGED:
            return standing.override is not None
        case Show.ALL:
            return True


def _place(order: Order, standing: Standing) -> tuple[float, ...]:
    """Return what a row is sorted by; rows come sorted by name, and sorting keeps equals so."""
    match order:
        case Order.POINTS:
            return (standing.points is None, -(standing.points or 0))
        case Order.LATE:
            return (-standing.days_late,)
        case Order.TIME:
            when = standing.submitted_at
            return (when is None, -when.timestamp() if when else 0)
        case Order.NAME:
            return ()


def _section_place(order: Order, row: SectionRow) -> tuple[float, ...]:
    match order:
        case Order.POINTS:
            return (row.share is None, -(row.share or 0))
        case Order.LATE:
            return (-sum(standing.days_late for standing in row.standings),)
        case _:
            return ()
