"""The administrator's page of terms, courses and sections, and what holds for all of them."""

from collections.abc import Mapping
from datetime import date
from typing import Annotated

from fastapi import APIRouter, Form, Request
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from server.store import roster
from server.store.audit import note
from server.store.audit_chain import Action
from server.store.college import set_time_zone, time_zone, zone_names
from server.store.course_changes import change_in_college, delete_from_college, sections_in
from server.store.courses import (
    SANDBOX_COURSE,
    Course,
    Section,
    SectionRole,
    Term,
    add_to_college,
    all_courses,
    all_sections,
    all_terms,
    find_assignment,
    find_course,
    find_term,
    get_course,
    student_counts,
    students_of,
)
from server.store.holidays import holidays_of, read_holidays, set_holidays, write_holidays
from server.store.lti_outbox import queue_scores
from server.store.people import Role, find_user
from server.store.retention import retention_days, set_retention
from server.store.roster_log import note_role
from server.store.standings import assignments_with_late_work, recount
from server.web.access import VisitorHere
from server.web.dependencies import CollegeZoneHere, DatabaseHere, Now, Reading, Writing
from server.web.gradebook.pages import section_here
from server.web.rendering import page

router = APIRouter()

Name = Annotated[str, Form(max_length=80)]
Day = Annotated[str, Form(max_length=10)]
Holidays = Annotated[str, Form(max_length=4000)]

NAMELESS = "The course needs a code and a title."
TAKEN = "There is one of this name already. Choose another."


@router.get("/courses")
def courses(request: Request, session: Reading) -> Response:
    return _courses(request, session)


@router.post("/terms")
def add_term(
    request: Request,
    session: Writing,
    name: Name = "",
    begins: Day = "",
    ends: Day = "",
) -> Response:
    typed = {"name": name, "begins": begins, "ends": ends}
    days = _term_days(name, begins, ends)
    if isinstance(days, str):
        return _courses(request, session, days, typed_in="new term", typed=typed)
    row = Term(name=name.strip(), begins=days[0], ends=days[1])
    return _added(request, session, row, "new term", typed)


@router.post("/terms/{term_id}")
def change_term(
    request: Request,
    term_id: int,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    name: Name = "",
    begins: Day = "",
    ends: Day = "",
    holidays: Holidays = "",
    archived: Annotated[bool, Form()] = False,
) -> Response:
    """Change a term and its holidays, or take it out of the pickers."""
    term = _term(session, term_id)
    days = _term_days(name, begins, ends)
    free = read_holidays(holidays)
    mistake = days if isinstance(days, str) else free if isinstance(free, str) else ""
    if not isinstance(days, str) and not isinstance(free, str):
        columns = {"name": name.strip(), "begins": days[0], "ends": days[1], "archived": archived}
        if change_in_college(session, term, **columns):
            set_holidays(session, term, free)
            return _changed(session, visitor.id, now, f"term {term.name}", archived)
        mistake = TAKEN
    typed = {"name": name, "begins": begins, "ends": ends, "holidays": holidays}
    return _courses(request, session, mistake, typed_in=f"term {term_id}", typed=typed)


@router.post("/terms/{term_id}/delete")
def delete_term(
    request: Request, term_id: int, session: Writing, visitor: VisitorHere, now: Now
) -> Response:
    """Delete a term without sections."""
    return _deleted(request, session, _term(session, term_id), visitor.id, now)


@router.post("/courses")
def add_course(
    request: Request,
    session: Writing,
    code: Annotated[str, Form(max_length=20)] = "",
    title: Annotated[str, Form(max_length=200)] = "",
) -> Response:
    typed = {"code": code, "title": title}
    if not code.strip() or not title.strip():
        return _courses(request, session, NAMELESS, typed_in="new course", typed=typed)
    if code.strip() == SANDBOX_COURSE:
        return _courses(request, session, TAKEN, typed_in="new course", typed=typed)
    row = Course(code=code.strip(), title=title.strip())
    return _added(request, session, row, "new course", typed)


@router.post("/courses/{course_id}")
def change_course(
    request: Request,
    course_id: int,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    code: Annotated[str, Form(max_length=20)] = "",
    title: Annotated[str, Form(max_length=200)] = "",
    archived: Annotated[bool, Form()] = False,
) -> Response:
    """Change a course, or take it out of the pickers."""
    course = get_course(session, course_id)
    columns = {"code": code.strip(), "title": title.strip(), "archived": archived}
    mistake = "" if code.strip() and title.strip() else NAMELESS
    if not mistake:
        if code.strip() != SANDBOX_COURSE and change_in_college(session, course, **columns):
            return _changed(session, visitor.id, now, f"course {course.code}", archived)
        mistake = TAKEN
    typed = {"code": code, "title": title}
    return _courses(request, session, mistake, typed_in=f"course {course_id}", typed=typed)


@router.post("/courses/{course_id}/delete")
def delete_course(
    request: Request, course_id: int, session: Writing, visitor: VisitorHere, now: Now
) -> Response:
    """Delete a course without sections."""
    return _deleted(request, session, get_course(session, course_id), visitor.id, now)


@router.post("/sections")
def add_section(
    request: Request,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    course: Annotated[int, Form()] = 0,
    term: Annotated[int, Form()] = 0,
    number: Annotated[str, Form(max_length=10)] = "",
    instructor: Annotated[str, Form(max_length=254)] = "",
) -> Response:
    typed = {"course": str(course), "term": str(term), "number": number, "instructor": instructor}

    def refuse(sentence: str) -> Response:
        return _courses(request, session, sentence, typed_in="new section", typed=typed)

    teacher = find_user(session, instructor)
    if find_course(session, course) is None or find_term(session, term) is None:
        return refuse("Choose a course and a term for the section.")
    if not number.strip():
        return refuse("The section needs a number, like 01.")
    if teacher is None or teacher.role not in (Role.INSTRUCTOR, Role.ADMINISTRATOR):
        sentence = f"{instructor or 'Nobody'} has no instructor's account. Add it among the people."
        return refuse(sentence)
    section = Section(course_id=course, term_id=term, number=number.strip())
    answer = _added(request, session, section, "new section", typed)
    if section.id is not None:
        role = SectionRole.INSTRUCTOR
        roster.enrol(session, section, teacher, role)
        note_role(session, section.id, teacher.id, None, role, by_id=visitor.id, now=now)
    return answer


@router.post("/sections/{section_id}")
def change_section(
    request: Request,
    section_id: int,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    number: Annotated[str, Form(max_length=10)] = "",
    archived: Annotated[bool, Form()] = False,
) -> Response:
    """Give a section another number, or take it out of the pickers."""
    section = section_here(session, section_id)
    mistake = "" if number.strip() else "The section needs a number, like 01."
    if not mistake:
        if change_in_college(session, section, number=number.strip(), archived=archived):
            return _changed(session, visitor.id, now, section.title_with_term, archived)
        mistake = TAKEN
    typed = {"number": number}
    return _courses(request, session, mistake, typed_in=f"section {section_id}", typed=typed)


@router.post("/sections/{section_id}/delete")
def delete_section(
    request: Request, section_id: int, session: Writing, visitor: VisitorHere, now: Now
) -> Response:
    """Delete a section without students and exercises."""
    return _deleted(request, session, section_here(session, section_id), visitor.id, now)


@router.post("/college/time-zone")
def change_time_zone(
    request: Request,
    database: DatabaseHere,
    zone: CollegeZoneHere,
    visitor: VisitorHere,
    now: Now,
    name: Annotated[str, Form(max_length=64)] = "",
) -> Response:
    """Let another time zone hold. What is late is counted anew, each exercise by itself."""
    with database.write() as session:
        before = time_zone(session).key
        if not set_time_zone(session, name.strip()):
            sentence = (
                f"There is no time zone {name.strip() or '(none)'}. "
                "Choose one from the list, like America/Chicago."
            )
            return _courses(request, session, sentence, zone_typed=name)
        detail = f"time zone from {before} to {name.strip()}"
        note(session, now, visitor.id, Action.CHANGED_COLLEGE, detail=detail)
    zone.forget()
    with database.read() as session:
        late = assignments_with_late_work(session)
    for assignment_id in late:
        with database.write() as session:
            assignment = find_assignment(session, assignment_id)
            if assignment is not None:
                recount(session, assignment)
                students = [each.id for each in students_of(session, assignment.section_id)]
                queue_scores(session, assignment, students, now)
    return RedirectResponse("/courses", 303)


@router.post("/college/retention")
def change_retention(
    request: Request,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    days: Annotated[str, Form(max_length=8)] = "",
) -> Response:
    """Set how long students' data is kept after their last term; empty keeps it for good."""
    typed = days.strip()
    if typed and not (typed.isascii() and typed.isdigit() and 30 <= int(typed) <= 36500):
        return _courses(
            request,
            session,
            "Data is kept for 30 to 36500 days. Write a number, or leave it empty.",
        )
    set_retention(session, int(typed) if typed else None)
    detail = f"data kept for {typed} days" if typed else "data kept for good"
    note(session, now, visitor.id, Action.CHANGED_COLLEGE, detail=detail)
    return RedirectResponse("/courses#retention", 303)


def _term(session: Session, term_id: int) -> Term:
    found = find_term(session, term_id)
    assert found is not None, "the access rule has found it"
    return found


def _term_days(name: str, begins: str, ends: str) -> tuple[date, date] | str:
    """Return the first and the last day of a term, or one sentence that says what is wrong."""
    try:
        first, last = date.fromisoformat(begins), date.fromisoformat(ends)
    except ValueError:
        return "The term needs two dates, like 2026-08-24."
    if not name.strip() or first >= last:
        return "The term needs a name and an end after its beginning."
    return first, last


def _added(
    request: Request,
    session: Session,
    row: Term | Course | Section,
    typed_in: str,
    typed: Mapping[str, str],
) -> Response:
    if not add_to_college(session, row):
        return _courses(request, session, TAKEN, typed_in=typed_in, typed=typed)
    return RedirectResponse("/courses", 303)


def _changed(session: Session, by_id: int, now: Now, what: str, archived: bool) -> Response:
    detail = f"{what}{', archived' if archived else ''}"
    note(session, now, by_id, Action.CHANGED_COLLEGE, detail=detail)
    return RedirectResponse("/courses", 303)


def _deleted(
    request: Request, session: Session, row: Term | Course | Section, by_id: int, now: Now
) -> Response:
    name = row.name if isinstance(row, Term) else row.code if isinstance(row, Course) else row.title
    refused = delete_from_college(session, row)
    if refused:
        return _courses(request, session, refused)
    note(session, now, by_id, Action.CHANGED_COLLEGE, detail=f"deleted {name}")
    return RedirectResponse("/courses", 303)


def _courses(
    request: Request,
    session: Session,
    mistake: str = "",
    zone_typed: str | None = None,
    *,
    typed_in: str = "",
    typed: Mapping[str, str] | None = None,
) -> Response:
    """Show the page, the form called ``typed_in`` with what was typed in it."""
    terms = all_terms(session)
    by_term, by_course = sections_in(session)
    holidays = holidays_of(session, [term.id for term in terms])
    return page(
        request,
        "college/courses.html",
        422 if mistake else 200,
        terms=terms,
        courses=all_courses(session),
        sections=all_sections(session),
        in_term=by_term,
        in_course=by_course,
        holidays={id: write_holidays(each) for id, each in holidays.items()},
        counts=student_counts(session),
        time_zone=time_zone(session).key if zone_typed is None else zone_typed,
        retention_days=retention_days(session),
        time_zones=zone_names(),
        mistake=mistake,
        typed_in=typed_in,
        typed=typed or {},
    )
