"""The administrator's pages: people and their data; terms, courses and sections."""

import json
from datetime import date
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Form, HTTPException, Query, Request
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from server.store import accounts, person_export, privacy, roster
from server.store.audit import note
from server.store.audit_chain import Action
from server.store.authored import owners
from server.store.college import set_time_zone, time_zone, zone_names
from server.store.courses import (
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
    student_counts,
    students_of,
)
from server.store.lti_outbox import queue_scores
from server.store.passwords import make_link
from server.store.people import (
    Role,
    User,
    count_people,
    find_person,
    find_user,
    normal_email,
    search_people,
)
from server.store.retention import retention_days, set_retention
from server.store.roster_log import note_role
from server.store.second_factors import with_factor
from server.store.standings import assignments_with_late_work, recount
from server.web.access import VisitorHere
from server.web.accounts.joining import address_of_link
from server.web.dependencies import (
    CollegeZoneHere,
    DatabaseHere,
    Now,
    Reading,
    SettingsHere,
    Writing,
)
from server.web.open_sockets import RECHECK
from server.web.rendering import page

router = APIRouter()

SHOWN = 100


@router.get("/people")
def people(
    request: Request, session: Reading, find: Annotated[str, Query(max_length=100)] = ""
) -> Response:
    return _people(request, session, find)


@router.post("/people")
def add_person(
    request: Request,
    session: Writing,
    settings: SettingsHere,
    visitor: VisitorHere,
    now: Now,
    name: Annotated[str, Form(max_length=200)] = "",
    email: Annotated[str, Form(max_length=254)] = "",
    role: Annotated[Role, Form()] = Role.STUDENT,
) -> Response:
    """Make an account; the page shows the link for its first password.

    An unconfirmed account with this address becomes this person's: whoever made it is shut out.
    """
    address = normal_email(email)
    if not roster.EMAIL.fullmatch(address) or not name.strip():
        return _people(request, session, "", "A name and an email address are needed. Write both.")
    added = accounts.add_account(session, address, name.strip(), role, by_id=visitor.id, now=now)
    if added is None:
        return _people(request, session, address, f"There is an account with {address} already.")
    user, taken = added
    link = address_of_link(settings, make_link(session, user, now, by_id=visitor.id))
    return _people(request, session, address, "", user, link, taken=taken)


@router.post("/people/{person_id}/link")
def password_link(
    request: Request,
    person_id: int,
    session: Writing,
    settings: SettingsHere,
    visitor: VisitorHere,
    now: Now,
) -> Response:
    """Make a link by which this person sets a new password; it is shown once."""
    user = _person(session, person_id)
    link = address_of_link(settings, make_link(session, user, now, by_id=visitor.id))
    return _people(request, session, user.email, "", user, link)


@router.post("/people/{person_id}/name")
def rename_person(
    request: Request,
    person_id: int,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    name: Annotated[str, Form(max_length=200)] = "",
    listed_as: Annotated[str, Form(max_length=200)] = "",
) -> Response:
    """Change a name, for somebody who is in several sections for instance."""
    user = _person(session, person_id)
    if not name.strip():
        return _people(request, session, user.email, "The name is missing. Write it.")
    accounts.rename(session, user, name.strip(), listed_as.strip(), by_id=visitor.id, now=now)
    return RedirectResponse(f"/people?{urlencode({'find': user.email})}", 303)


@router.post("/people/{person_id}/address")
def change_address(
    request: Request,
    person_id: int,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    email: Annotated[str, Form(max_length=254)] = "",
) -> Response:
    """Change the address by which somebody signs in."""
    user = _person(session, person_id)
    address = normal_email(email)
    if not roster.EMAIL.fullmatch(address):
        sentence = f"{email or 'Nothing'} is not an email address. Correct it."
        return _people(request, session, user.email, sentence)
    if not accounts.change_address(session, user, address, by_id=visitor.id, now=now):
        sentence = f"Another account has {address}. Change or erase that one first."
        return _people(request, session, user.email, sentence)
    return RedirectResponse(f"/people?{urlencode({'find': address})}", 303)


@router.post("/people/{person_id}/names")
def may_see_names(
    person_id: int,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    permitted: Annotated[bool, Form()] = False,
) -> Response:
    """Let a member of the department see whose work the figures rest on, or no longer."""
    user = _person(session, person_id)
    accounts.permit_names(session, user, permitted, by_id=visitor.id, now=now)
    return RedirectResponse(f"/people?{urlencode({'find': user.email})}", 303)


@router.get("/people/{person_id}/data.json")
def export_person(person_id: int, session: Reading) -> Response:
    """Show all that is stored about a person."""
    return _export(session, _person(session, person_id).id)


@router.get("/my-data.json")
def my_data(session: Reading, visitor: VisitorHere) -> Response:
    """Show all that is stored about oneself."""
    return _export(session, visitor.id)


@router.post("/people/{person_id}/erase", dependencies=[RECHECK])
def erase_person(
    request: Request,
    person_id: int,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    email: Annotated[str, Form(max_length=254)] = "",
    successor: Annotated[str, Form(max_length=254)] = "",
) -> Response:
    """Erase a person and their work; the email is typed so that it is not done by a slip.

    ``successor`` is the email of the instructor who gets what the person wrote; the college does,
    if it is empty.
    """
    user = _person(session, person_id)
    if person_id == visitor.id:
        return _people(request, session, user.email, "Nobody can erase their own account.")
    if normal_email(email) != user.email:
        sentence = f"Nothing was erased. Type the email {user.email} to erase this person."
        return _people(request, session, user.email, sentence)
    heir = find_user(session, successor) if successor.strip() else None
    if successor.strip() and (heir is None or heir.role is not Role.INSTRUCTOR or heir is user):
        sentence = (
            f"Nothing was erased. {successor.strip()} is not the email of another instructor. "
            "Correct who gets the exercises, or leave it empty for the college."
        )
        return _people(request, session, user.email, sentence)
    refused = privacy.erasure_refusal(session, person_id)
    if refused:
        return _people(request, session, user.email, refused)
    privacy.erase_person(
        session,
        person_id,
        by_id=visitor.id,
        now=now,
        successor_id=heir.id if heir else None,
    )
    return RedirectResponse("/people", 303)


@router.post("/people/{person_id}/hold")
def hold_data(
    person_id: int,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    held: Annotated[bool, Form()] = False,
) -> Response:
    """Put a person's data under a legal hold, or lift it: what is held is not erased."""
    user = _person(session, person_id)
    privacy.hold(session, user, held, by_id=visitor.id, now=now)
    return RedirectResponse(f"/people?{urlencode({'find': user.email})}", 303)


@router.get("/courses")
def courses(request: Request, session: Reading) -> Response:
    return _courses(request, session)


@router.post("/terms")
def add_term(
    request: Request,
    session: Writing,
    name: Annotated[str, Form(max_length=80)] = "",
    begins: Annotated[str, Form(max_length=10)] = "",
    ends: Annotated[str, Form(max_length=10)] = "",
) -> Response:
    try:
        first, last = date.fromisoformat(begins), date.fromisoformat(ends)
    except ValueError:
        return _courses(request, session, "The term needs two dates, like 2026-08-24.")
    if not name.strip() or first >= last:
        return _courses(request, session, "The term needs a name and an end after its beginning.")
    return _added(request, session, Term(name=name.strip(), begins=first, ends=last))


@router.post("/courses")
def add_course(
    request: Request,
    session: Writing,
    code: Annotated[str, Form(max_length=20)] = "",
    title: Annotated[str, Form(max_length=200)] = "",
) -> Response:
    if not code.strip() or not title.strip():
        return _courses(request, session, "The course needs a code and a title.")
    return _added(request, session, Course(code=code.strip(), title=title.strip()))


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
    teacher = find_user(session, instructor)
    if find_course(session, course) is None or find_term(session, term) is None:
        return _courses(request, session, "Choose a course and a term for the section.")
    if not number.strip():
        return _courses(request, session, "The section needs a number, like 01.")
    if teacher is None or teacher.role not in (Role.INSTRUCTOR, Role.ADMINISTRATOR):
        sentence = f"{instructor or 'Nobody'} has no instructor's account. Add it among the people."
        return _courses(request, session, sentence)
    section = Section(course_id=course, term_id=term, number=number.strip())
    answer = _added(request, session, section)
    if section.id is not None:
        role = SectionRole.INSTRUCTOR
        roster.enrol(session, section, teacher, role)
        note_role(session, section.id, teacher.id, None, role, by_id=visitor.id, now=now)
    return answer


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


def _added(request: Request, session: Session, row: Term | Course | Section) -> Response:
    if not add_to_college(session, row):
        return _courses(request, session, "There is one of this name already. Choose another.")
    return RedirectResponse("/courses", 303)


def _person(session: Session, person_id: int) -> User:
    user = find_person(session, person_id)
    if user is None:
        raise HTTPException(404)
    return user


def _export(session: Session, user_id: int) -> Response:
    text = json.dumps(person_export.export_person(session, user_id), indent=2, ensure_ascii=False)
    return Response(
        text,
        media_type="application/json",
        headers={"Content-Disposition": 'attachment; filename="my-data.json"'},
    )


def _people(
    request: Request,
    session: Session,
    find: str,
    mistake: str = "",
    linked: User | None = None,
    link: str = "",
    *,
    taken: bool = False,
) -> Response:
    found = search_people(session, find, SHOWN)
    return page(
        request,
        "college/people.html",
        422 if mistake else 200,
        people=found,
        with_factor=with_factor(session, [user.id for user in found]),
        connected=accounts.connected(session, [user.id for user in found]),
        total=count_people(session),
        shown=SHOWN,
        find=find,
        mistake=mistake,
        linked=linked,
        link=link,
        taken=taken,
        authors=owners(session),
        roles=Role,
    )


def _courses(
    request: Request, session: Session, mistake: str = "", zone_typed: str | None = None
) -> Response:
    return page(
        request,
        "college/courses.html",
        422 if mistake else 200,
        terms=all_terms(session),
        courses=all_courses(session),
        sections=all_sections(session),
        counts=student_counts(session),
        time_zone=time_zone(session).key if zone_typed is None else zone_typed,
        retention_days=retention_days(session),
        time_zones=zone_names(),
        mistake=mistake,
    )
