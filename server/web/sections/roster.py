"""Who is in a section: upload with a preview, join code, graders, links for first passwords."""

from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, File, Form, Request, UploadFile
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from server.store import addresses, roster, roster_file
from server.store.audit import note
from server.store.audit_chain import Action
from server.store.audit_lines import events_of
from server.store.courses import SectionRole, assignments_of, role_in_section
from server.store.join_codes import new_join_code
from server.store.lti_choices import contexts_of
from server.store.lti_members import bind_members
from server.store.passwords import awaiting_first_link, make_first_links
from server.store.people import find_user
from server.store.roster_file import RosterFault
from server.store.roster_log import note_changes, note_role
from server.store.section_roles import LAST_INSTRUCTOR, leaves_no_instructor, refusal_of
from server.store.standings import recount
from server.web.access import VisitorHere
from server.web.accounts.joining import address_of_link
from server.web.dependencies import Now, Reading, SettingsHere, Writing
from server.web.gradebook.pages import section_here
from server.web.open_sockets import RECHECK
from server.web.rendering import page
from server.web.spreadsheet import Table, download

router = APIRouter()

NOTHING_STORED = "Nothing was stored. Correct this in the text below, or in the file:"
MOST_FAULTS = 100

Text = Annotated[str, Form(max_length=500_000)]
People = Annotated[tuple[int, ...], Form(max_length=roster_file.MAX_LINES)]


@router.get("/sections/{section_id}/roster")
def roster_page(request: Request, section_id: int, session: Reading) -> Response:
    return show_roster(request, session, section_id)


@router.post("/sections/{section_id}/roster/preview")
def preview_roster(
    request: Request,
    section_id: int,
    session: Reading,
    text: Text = "",
    file: Annotated[UploadFile | None, File()] = None,
) -> Response:
    """Show what the roster would change; nothing is stored."""
    if file is not None and file.filename:
        decoded = roster_file.decode_roster(file.file.read())
        if isinstance(decoded, RosterFault):
            return show_roster(request, session, section_id, str(decoded), text)
        text = decoded
    return roster_preview(request, session, section_id, text)


def roster_preview(
    request: Request,
    session: Session,
    section_id: int,
    text: str,
    remark: str = "",
    *,
    from_lms: bool = False,
) -> Response:
    """Show what a roster would change, or the roster page with what is wrong in it."""
    section = section_here(session, section_id)
    lines, faults = roster_file.read_roster(text)
    faults += roster.unfit_lines(session, section, lines)
    if faults:
        return show_roster(request, session, section_id, NOTHING_STORED, text, faults)
    return page(
        request,
        "sections/preview.html",
        section=section,
        changes=roster.compare(session, section, lines),
        lines=lines,
        text=text,
        remark=remark,
        from_lms=from_lms,
    )


@router.post("/sections/{section_id}/roster", dependencies=[RECHECK])
def apply_roster(
    request: Request,
    section_id: int,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    text: Text = "",
    drop_missing: Annotated[bool, Form()] = False,
    from_lms: Annotated[bool, Form()] = False,
) -> Response:
    section = section_here(session, section_id)
    lines, faults = roster_file.read_roster(text)
    faults += roster.unfit_lines(session, section, lines)
    if faults:
        return show_roster(request, session, section_id, NOTHING_STORED, text, faults)
    changes = roster.enrol_all(
        session, section, lines, drop_missing=drop_missing, from_lms=from_lms, now=now
    )
    note_changes(session, section_id, changes, dropped=drop_missing, by_id=visitor.id, now=now)
    _recount(session, section_id)
    if from_lms:
        bind_members(session, section_id, now)
    return _back(section_id)


@router.post("/sections/{section_id}/roster/person", dependencies=[RECHECK])
def enrol_person(
    request: Request,
    section_id: int,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    email: Annotated[str, Form(max_length=254)] = "",
    role: Annotated[SectionRole, Form()] = SectionRole.GRADER,
) -> Response:
    """Put somebody with an account into the section, as a grader for instance."""
    user = find_user(session, email)
    if user is None:
        sentence = f"Nobody has the email {email or '(none)'}. Correct it, or send a roster."
        return show_roster(request, session, section_id, sentence)
    section = section_here(session, section_id)
    refused = refusal_of(session, section, user, role)
    if refused:
        return show_roster(request, session, section_id, refused)
    before = role_in_section(session, user.id, section_id)
    roster.enrol(session, section, user, role, now=now)
    note_role(session, section_id, user.id, before, role, by_id=visitor.id, now=now)
    _recount(session, section_id)
    return _back(section_id)


@router.post("/sections/{section_id}/roster/leave", dependencies=[RECHECK])
def remove_from_section(
    request: Request,
    section_id: int,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    person: People = (),
) -> Response:
    """Take people out of the section; their work stays stored."""
    section = section_here(session, section_id)
    here = {user.id for user, _ in roster.people_of(session, section_id)}
    leaving = here.intersection(person)
    if not leaving:
        sentence = "This person is not in the section any more. Look at the people below."
        return show_roster(request, session, section_id, sentence)
    if leaves_no_instructor(session, section_id, leaving):
        return show_roster(request, session, section_id, LAST_INSTRUCTOR)
    for each in leaving:
        before = role_in_section(session, each, section_id)
        note_role(session, section_id, each, before, None, by_id=visitor.id, now=now)
    roster.leave_section(session, section, leaving)
    return _back(section_id)


@router.post("/sections/{section_id}/roster/confirm")
def confirm_people(
    section_id: int, session: Writing, visitor: VisitorHere, now: Now, person: People = ()
) -> Response:
    """Confirm that these accounts belong to the owners of their addresses.

    The page names those that it showed: who has joined since is not confirmed unseen.
    """
    addresses.confirm(session, section_id, person, now, by_id=visitor.id)
    return _back(section_id)


@router.post("/sections/{section_id}/roster/code")
def join_code(
    section_id: int,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    closed: Annotated[bool, Form()] = False,
) -> Response:
    """Set a new join code, or none."""
    section = section_here(session, section_id)
    if closed:
        section.join_code = None
    else:
        new_join_code(session, section)
    action = Action.CLOSED_JOIN_CODE if closed else Action.MADE_JOIN_CODE
    note(session, now, visitor.id, action, section_id)
    return _back(section_id)


@router.post("/sections/{section_id}/roster/links")
def first_passwords(
    section_id: int, session: Writing, settings: SettingsHere, visitor: VisitorHere, now: Now
) -> Response:
    """Download a link for each student whose account this roster made and nobody has used yet."""
    section = section_here(session, section_id)
    rows = tuple(
        (user.name, user.email, address_of_link(settings, secret))
        for user, secret in make_first_links(session, section_id, now, by_id=visitor.id)
    )
    table = Table("Links", ("Name", "Email", "Link, good for one day"), rows)
    return download(table, f"{section.title}-links", "csv")


@router.get("/sections/{section_id}/log")
def grade_log(request: Request, section_id: int, session: Reading) -> Response:
    """Show who saw and who changed grades of this section."""
    return page(
        request,
        "sections/log.html",
        section=section_here(session, section_id),
        events=events_of(session, section_id),
    )


def show_roster(
    request: Request,
    session: Session,
    section_id: int,
    mistake: str = "",
    text: str = "",
    faults: Sequence[RosterFault] = (),
) -> Response:
    """Show the roster's page; after a refusal with every fault of the text, in its order."""
    people = roster.people_of(session, section_id)
    awaiting = awaiting_first_link(session, section_id)
    return page(
        request,
        "sections/roster.html",
        422 if mistake else 200,
        section=section_here(session, section_id),
        people=people,
        unconfirmed=[
            user.id for user, enrolment in people if not (user.confirmed or enrolment.confirmed)
        ],
        from_lms=contexts_of(session, section_id),
        awaiting=len(awaiting),
        others=sum(not user.password_hash and user not in awaiting for user, _ in people),
        mistake=mistake,
        faults=sorted(faults, key=lambda fault: fault.line)[:MOST_FAULTS],
        more=max(0, len(faults) - MOST_FAULTS),
        text=text,
        roles=[role for role in SectionRole if role is not SectionRole.TESTER],
    )


def _recount(session: Session, section_id: int) -> None:
    """Give somebody who comes back the standing that their work earns."""
    for assignment in assignments_of(session, [section_id]):
        recount(session, assignment)


def _back(section_id: int) -> Response:
    return RedirectResponse(f"/sections/{section_id}/roster", 303)
