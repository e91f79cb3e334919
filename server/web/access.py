"""Who may use which route: the one place that decides it.

RULES has a rule for every route, by the name of its function; the application does not start with
a route that has none, or with a rule that has no route. ``enforce`` runs before every route. It
reads the visitor from the cookie, compares the role, and asks the rule's owner check whether the
things named in the address are this visitor's to see. What is not theirs does not exist for them:
they get 404, as for a number that was never given out.
"""

import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any
from urllib.parse import quote
from zoneinfo import ZoneInfo

from fastapi import Depends, HTTPException, WebSocketException, status
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session
from starlette.requests import HTTPConnection

from server.settings import Settings
from server.store.api_tokens import USE_NOTED_EVERY, TokenScope, find_token, note_token_use
from server.store.audit import note
from server.store.audit_chain import Action
from server.store.authored import find_authored
from server.store.courses import (
    HANDING_IN,
    KEEPS_WORK,
    TEACHING,
    SectionRole,
    find_assignment,
    find_course,
    find_section,
    find_term,
    partner_of,
    role_in_section,
)
from server.store.database import Database
from server.store.lti_platforms import find_choice, find_context, find_link, find_platform
from server.store.outcome_actions import find_action
from server.store.outcomes import find_program_outcome
from server.store.people import Role, find_person
from server.store.sessions import (
    SignedIn,
    Stage,
    find_session,
    note_use,
    use_is_due,
)
from server.store.sittings import Sitting, find_assignment_for, sitting_now
from server.store.submissions import find_submission
from server.store.versions import find_version
from server.web.cookies import read_cookie
from server.web.dependencies import (
    CollegeZoneHere,
    DatabaseHere,
    Now,
    Reading,
    SettingsHere,
    release_connection,
)

log = logging.getLogger(__name__)

COOKIE = "rungmark_session"

STUDYING = frozenset({SectionRole.STUDENT, SectionRole.WITHDRAWN})

TOKEN_FIRST = (
    "A good token is missing. Make one on the page Tokens for scripts, and send it as "
    "the header Authorization: Bearer TOKEN."
)


NO_SITTING = (
    "This is a supervised lab, and you have no sitting in this browser now, so nothing was stored. "
    "Reload the page: it says what to do."
)
SITTING_ELSEWHERE = (
    "You are in a supervised lab. Other exercises, earlier programs and your data open again "
    "when that sitting is over."
)
NO_EXCHANGE = (
    "In a supervised lab no program comes in or goes out: there are no versions, files and prints. "
    "Go back to the sheet; every step is saved there, and Undo leads back."
)


@dataclass(frozen=True, slots=True)
class Visitor:
    """The signed-in person who looks at a page; ``session_hash`` is the session of the browser."""

    id: int
    name: str
    role: Role
    session_hash: str


@dataclass(frozen=True, slots=True)
class Visit:
    """What an owner check looks at; ``ids`` are the numbers in the address."""

    session: Session
    visitor: Visitor
    ids: Mapping[str, int]
    now: datetime


@dataclass(frozen=True, slots=True)
class Rule:
    """``roles`` None lets anybody in, signed in or not; ``owner`` None asks no further.

    ``noted`` is what the log says of a look at the page by anybody but the student.
    ``before_factor``: an administrator may use it who has yet to set up a second factor.
    ``scopes``: a token opens it that has one of them, and nothing else does.
    """

    roles: frozenset[Role] | None
    owner: Callable[[Visit], bool] | None = None
    noted: Action | None = None
    before_factor: bool = False
    scopes: frozenset[TokenScope] = frozenset()


def section_role(visit: Visit, section_id: int) -> SectionRole | None:
    return role_in_section(visit.session, visit.visitor.id, section_id)


class SittingFirst(HTTPException):
    """A sitting in a supervised lab is asked for, or another one goes on; ``address`` tells."""

    def __init__(self, sentence: str, assignment_id: int) -> None:
        super().__init__(status.HTTP_403_FORBIDDEN, sentence)
        self.address = f"/assignments/{assignment_id}/sitting"


def works_on_assignment(visit: Visit) -> bool:
    """Admit a student of the section once the exercise is open; who teaches it, at any time.

    At a supervised lab a student needs a sitting, and in the browser in which it goes on.
    """
    assignment_id = visit.ids["assignment_id"]
    found = find_assignment_for(visit.session, assignment_id, visit.visitor.id, visit.now)
    if found is None or found.role not in TEACHING | HANDING_IN:
        return False
    assignment, role, sitting = found
    _heed_sitting(sitting, assignment_id)
    if role in TEACHING:
        return True
    if assignment.is_supervised and (
        sitting is None or sitting.session_hash != visit.visitor.session_hash
    ):
        raise SittingFirst(NO_SITTING, assignment_id)
    return visit.now >= assignment.opens_at


def works_at_home(visit: Visit) -> bool:
    """Admit to what carries programs in and out, which no student has in a supervised lab."""
    assignment = find_assignment(visit.session, visit.ids["assignment_id"])
    if assignment is None or not works_on_assignment(visit):
        return False
    if assignment.is_supervised and section_role(visit, assignment.section_id) not in TEACHING:
        raise HTTPException(status.HTTP_403_FORBIDDEN, NO_EXCHANGE)
    return True


def enters_lab(visit: Visit) -> bool:
    """Admit a student of the section of a supervised lab to its door."""
    assignment = find_assignment(visit.session, visit.ids["assignment_id"])
    return (
        assignment is not None
        and assignment.is_supervised
        and section_role(visit, assignment.section_id) in HANDING_IN
    )


def is_in_no_sitting(visit: Visit) -> bool:
    """Admit whoever sits at no supervised lab."""
    _heed_sitting(sitting_now(visit.session, visit.visitor.id, visit.now), None)
    return True


def _heed_sitting(sitting: Sitting | None, assignment_id: int | None) -> None:
    """Raise SittingFirst for whoever sits at another assignment than this one."""
    if sitting is not None and sitting.assignment_id != assignment_id:
        raise SittingFirst(SITTING_ELSEWHERE, sitting.assignment_id)


def keeps_version(visit: Visit) -> bool:
    """Admit whose version it is, where they may work."""
    assignment = find_assignment(visit.session, visit.ids["assignment_id"])
    return (
        assignment is not None
        and works_at_home(visit)
        and find_version(visit.session, assignment, visit.visitor.id, visit.ids["version_id"])
        is not None
    )


def teaches_assignment(visit: Visit) -> bool:
    assignment = find_assignment(visit.session, visit.ids["assignment_id"])
    return (
        assignment is not None
        and section_role(visit, assignment.section_id) in TEACHING
        and _names_a_student_of(visit, assignment.section_id)
    )


def sets_assignment(visit: Visit) -> bool:
    """Admit the instructor of its section; a grader does not change what is set."""
    assignment = find_assignment(visit.session, visit.ids["assignment_id"])
    return (
        assignment is not None
        and section_role(visit, assignment.section_id) is SectionRole.INSTRUCTOR
        and _names_a_student_of(visit, assignment.section_id)
    )


def teaches_section(visit: Visit) -> bool:
    section_id = visit.ids["section_id"]
    return section_role(visit, section_id) in TEACHING and _names_a_student_of(visit, section_id)


def instructs_section(visit: Visit) -> bool:
    """Admit its instructor; what is agreed with a student is not for graders."""
    section_id = visit.ids["section_id"]
    return section_role(visit, section_id) is SectionRole.INSTRUCTOR and _names_a_student_of(
        visit, section_id
    )


def runs_section(visit: Visit) -> bool:
    """Admit its instructor, and the administrator."""
    if find_section(visit.session, visit.ids["section_id"]) is None:
        return False
    return visit.visitor.role is Role.ADMINISTRATOR or instructs_section(visit)


def studies_in_section(visit: Visit) -> bool:
    return section_role(visit, visit.ids["section_id"]) in KEEPS_WORK


def reads_submission(visit: Visit) -> bool:
    """Admit its author, their partner at it, and who teaches its section."""
    submission = find_submission(visit.session, visit.ids["submission_id"])
    if submission is None:
        return False
    sitting = sitting_now(visit.session, visit.visitor.id, visit.now)
    _heed_sitting(sitting, submission.assignment_id)
    if sitting is not None and sitting.session_hash != visit.visitor.session_hash:
        raise SittingFirst(NO_SITTING, submission.assignment_id)
    if submission.user_id == visit.visitor.id:
        return True
    partner_id = partner_of(visit.session, submission.assignment, submission.user_id)
    return partner_id == visit.visitor.id or teaches_submission(visit)


def teaches_submission(visit: Visit) -> bool:
    submission = find_submission(visit.session, visit.ids["submission_id"])
    return (
        submission is not None and section_role(visit, submission.assignment.section_id) in TEACHING
    )


def names_a_person(visit: Visit) -> bool:
    return find_person(visit.session, visit.ids["person_id"]) is not None


def names_a_course(visit: Visit) -> bool:
    return find_course(visit.session, visit.ids["course_id"]) is not None


def names_a_term(visit: Visit) -> bool:
    return find_term(visit.session, visit.ids["term_id"]) is not None


def names_a_section(visit: Visit) -> bool:
    return find_section(visit.session, visit.ids["section_id"]) is not None


def action_of_course(visit: Visit) -> bool:
    action_id = visit.ids["action_id"]
    return find_action(visit.session, visit.ids["course_id"], action_id) is not None


def names_a_program_outcome(visit: Visit) -> bool:
    return find_program_outcome(visit.session, visit.ids["outcome_id"]) is not None


def submission_of_course(visit: Visit) -> bool:
    submission = find_submission(visit.session, visit.ids["submission_id"])
    return (
        submission is not None and submission.assignment.section.course_id == visit.ids["course_id"]
    )


def _names_a_student_of(visit: Visit, section_id: int) -> bool:
    """If the address names a student, they are one of this section."""
    student_id = visit.ids.get("student_id")
    return student_id is None or (
        role_in_section(visit.session, student_id, section_id) in STUDYING
    )


def names_a_platform(visit: Visit) -> bool:
    return find_platform(visit.session, visit.ids["platform_id"]) is not None


def connects_context(visit: Visit) -> bool:
    """Admit the administrator, and the instructor who came last from the platform's course."""
    context = find_context(visit.session, visit.ids["context_id"])
    return context is not None and (
        visit.visitor.role is Role.ADMINISTRATOR or context.opened_by_id == visit.visitor.id
    )


def binds_link(visit: Visit) -> bool:
    """Admit the instructor of the section from whose course the link comes."""
    link = find_link(visit.session, visit.ids["link_id"])
    return (
        link is not None
        and link.context.section_id is not None
        and section_role(visit, link.context.section_id) is SectionRole.INSTRUCTOR
    )


def makes_choice(visit: Visit) -> bool:
    """Admit who began it, while it is good and they teach."""
    choice = find_choice(visit.session, visit.ids["choice_id"])
    if choice is None or choice.user_id != visit.visitor.id or choice.expires_at <= visit.now:
        return False
    section_id = choice.context.section_id
    return section_id is None or section_role(visit, section_id) in TEACHING


def owns_exercise(visit: Visit) -> bool:
    """Admit who wrote it."""
    exercise = find_authored(visit.session, visit.ids["authored_id"])
    return exercise is not None and exercise.owner_id == visit.visitor.id


ANYBODY = Rule(roles=None)
AUTHORS = frozenset({Role.INSTRUCTOR})
SIGNED_IN = frozenset(Role)
STAFF = SIGNED_IN - {Role.STUDENT}
DEPARTMENT = frozenset({Role.DEPARTMENT, Role.ADMINISTRATOR})
ADMINISTRATOR = frozenset({Role.ADMINISTRATOR})

RULES: dict[str, Rule] = {
    # authoring
    "authored_list": Rule(AUTHORS),
    "begin_exercise": Rule(AUTHORS),
    "import_exercise": Rule(AUTHORS),
    "published_schema": Rule(AUTHORS),
    "author_sheet": Rule(AUTHORS, owns_exercise),
    "change_exercise": Rule(AUTHORS, owns_exercise),
    "findings": Rule(AUTHORS, owns_exercise),
    "exercise_as_text": Rule(AUTHORS, owns_exercise),
    "save_text": Rule(AUTHORS, owns_exercise),
    "preview_statement": Rule(AUTHORS, owns_exercise),
    "export_exercise": Rule(AUTHORS, owns_exercise),
    "open_bench": Rule(AUTHORS, owns_exercise),
    "life": Rule(AUTHORS, owns_exercise),
    "compare_version": Rule(AUTHORS, owns_exercise),
    "publish_exercise": Rule(AUTHORS, owns_exercise),
    "retire_exercise": Rule(AUTHORS, owns_exercise),
    "set_exercise": Rule(AUTHORS, owns_exercise),
    # accounts
    "sign_in_page": ANYBODY,
    "sign_in": ANYBODY,
    "sign_out": ANYBODY,
    "join_page": ANYBODY,
    "join": ANYBODY,
    "join_section": Rule(SIGNED_IN),
    "sign_in_code_page": ANYBODY,
    "sign_in_code": ANYBODY,
    "where_signed_in": Rule(SIGNED_IN),
    "end_other_session": Rule(SIGNED_IN),
    "sign_out_everywhere": Rule(SIGNED_IN),
    "own_password_page": Rule(SIGNED_IN),
    "change_own_password": Rule(SIGNED_IN),
    "second_factor": Rule(STAFF, before_factor=True),
    "begin_second_factor": Rule(STAFF, before_factor=True),
    "confirm_second_factor": Rule(STAFF, before_factor=True),
    "renew_recovery_codes": Rule(STAFF),
    "turn_off_second_factor": Rule(STAFF),
    "forgotten_page": ANYBODY,
    "send_link": ANYBODY,
    "password_page": ANYBODY,
    "set_password": ANYBODY,
    # the college
    "people": Rule(ADMINISTRATOR),
    "add_person": Rule(ADMINISTRATOR),
    "password_link": Rule(ADMINISTRATOR, names_a_person),
    "rename_person": Rule(ADMINISTRATOR, names_a_person),
    "change_address": Rule(ADMINISTRATOR, names_a_person),
    "disconnect_person": Rule(ADMINISTRATOR, names_a_person),
    "disable_account": Rule(ADMINISTRATOR, names_a_person),
    "enable_account": Rule(ADMINISTRATOR, names_a_person),
    "remove_second_factor": Rule(ADMINISTRATOR, names_a_person),
    "may_see_names": Rule(ADMINISTRATOR, names_a_person),
    "export_person": Rule(ADMINISTRATOR, names_a_person, Action.EXPORTED_DATA),
    "erase_person": Rule(ADMINISTRATOR, names_a_person),
    "my_data": Rule(SIGNED_IN, is_in_no_sitting, Action.EXPORTED_DATA),
    "my_data_page": Rule(SIGNED_IN),
    "calendar_page": Rule(SIGNED_IN),
    "make_link_of_calendar": Rule(SIGNED_IN),
    "remove_link_of_calendar": Rule(SIGNED_IN),
    "calendar_feed": ANYBODY,
    "mail_page": Rule(SIGNED_IN),
    "set_mails": Rule(SIGNED_IN),
    "ask_correction": Rule(SIGNED_IN),
    "answer_correction": Rule(SIGNED_IN, teaches_section),
    "people_csv": Rule(ADMINISTRATOR, noted=Action.TOOK_FILE),
    "import_people": Rule(ADMINISTRATOR),
    "hold_data": Rule(ADMINISTRATOR, names_a_person),
    "change_retention": Rule(ADMINISTRATOR),
    "server_state": Rule(ADMINISTRATOR),
    "courses": Rule(ADMINISTRATOR),
    "add_term": Rule(ADMINISTRATOR),
    "add_course": Rule(ADMINISTRATOR),
    "add_section": Rule(ADMINISTRATOR),
    "change_term": Rule(ADMINISTRATOR, names_a_term),
    "delete_term": Rule(ADMINISTRATOR, names_a_term),
    "change_course": Rule(ADMINISTRATOR, names_a_course),
    "delete_course": Rule(ADMINISTRATOR, names_a_course),
    "change_section": Rule(ADMINISTRATOR, names_a_section),
    "delete_section": Rule(ADMINISTRATOR, names_a_section),
    "change_time_zone": Rule(ADMINISTRATOR),
    # reports
    "report_list": Rule(DEPARTMENT),
    "report": Rule(DEPARTMENT, names_a_course),
    "outcome_catalogue": Rule(DEPARTMENT, names_a_course),
    "set_outcome": Rule(DEPARTMENT, names_a_course),
    "delete_outcome_version": Rule(DEPARTMENT, names_a_course),
    "outcome_actions": Rule(DEPARTMENT, names_a_course),
    "add_action": Rule(DEPARTMENT, names_a_course),
    "change_action": Rule(DEPARTMENT, action_of_course),
    "binder": Rule(DEPARTMENT, names_a_course, Action.TOOK_FILE),
    "sign": Rule(DEPARTMENT, names_a_course),
    "program_outcome_list": Rule(DEPARTMENT),
    "set_program_outcome": Rule(DEPARTMENT),
    "remove_program_outcome": Rule(DEPARTMENT, names_a_program_outcome),
    "report_csv": Rule(DEPARTMENT, names_a_course, Action.TOOK_FILE),
    "report_xlsx": Rule(DEPARTMENT, names_a_course, Action.TOOK_FILE),
    "report_work": Rule(DEPARTMENT, names_a_course),
    "report_submission": Rule(DEPARTMENT, submission_of_course, Action.SAW_SUBMISSION),
    # rosters
    "roster_page": Rule(SIGNED_IN, runs_section),
    "preview_roster": Rule(SIGNED_IN, runs_section),
    "apply_roster": Rule(SIGNED_IN, runs_section),
    "enrol_person": Rule(SIGNED_IN, runs_section),
    "remove_from_section": Rule(SIGNED_IN, runs_section),
    "confirm_people": Rule(SIGNED_IN, runs_section),
    "join_code": Rule(SIGNED_IN, runs_section),
    "first_passwords": Rule(SIGNED_IN, runs_section),
    "grade_log": Rule(SIGNED_IN, runs_section),
    # home
    "home": Rule(SIGNED_IN),
    # guides
    "guides": ANYBODY,
    "guide": ANYBODY,
    # exercises
    "exercise": Rule(SIGNED_IN, works_on_assignment),
    # supervised labs
    "sitting_page": Rule(SIGNED_IN, enters_lab),
    "take_seat": Rule(SIGNED_IN, enters_lab),
    "sitting_time": Rule(SIGNED_IN, works_on_assignment),
    "leave_lab": Rule(SIGNED_IN, works_on_assignment),
    "renew_pass_code": Rule(SIGNED_IN, teaches_assignment),
    "give_sitting_minutes": Rule(SIGNED_IN, sets_assignment),
    # editor
    "edit_program": Rule(SIGNED_IN, works_on_assignment),
    "undo": Rule(SIGNED_IN, works_on_assignment),
    "redo": Rule(SIGNED_IN, works_on_assignment),
    "preview": Rule(SIGNED_IN, works_on_assignment),
    "about_selected": Rule(SIGNED_IN, works_on_assignment),
    "elements": Rule(SIGNED_IN),
    # versions and files of a program
    "versions": Rule(SIGNED_IN, works_at_home),
    "keep_version": Rule(SIGNED_IN, works_at_home),
    "delete_version": Rule(SIGNED_IN, keeps_version),
    "compare_states": Rule(SIGNED_IN, works_at_home),
    "compare_attempts": Rule(SIGNED_IN, reads_submission, Action.SAW_SUBMISSION),
    "restore_version": Rule(SIGNED_IN, works_at_home),
    "program_as_text": Rule(SIGNED_IN, works_at_home),
    "program_as_xml": Rule(SIGNED_IN, works_at_home),
    "preview_import": Rule(SIGNED_IN, works_at_home),
    "import_program": Rule(SIGNED_IN, works_at_home),
    "print_program": Rule(SIGNED_IN, works_at_home),
    "print_submission": Rule(SIGNED_IN, reads_submission, Action.SAW_SUBMISSION),
    # submissions
    "submit": Rule(SIGNED_IN, works_on_assignment),
    "verdict": Rule(SIGNED_IN, reads_submission, Action.SAW_SUBMISSION),
    "verdict_progress": Rule(SIGNED_IN, reads_submission),
    "change_released_runs": Rule(SIGNED_IN, sets_assignment),
    "faulty_places": Rule(SIGNED_IN, reads_submission),
    "diagnosis": Rule(SIGNED_IN, teaches_submission, Action.SAW_DIAGNOSIS),
    # trial
    "trial": Rule(SIGNED_IN, works_on_assignment),
    "trial_socket": Rule(SIGNED_IN, works_on_assignment),
    "watch_trial": Rule(SIGNED_IN, teaches_assignment, Action.WATCHED_RUN),
    "watch_socket": Rule(SIGNED_IN, teaches_assignment, Action.WATCHED_RUN),
    # gradebook
    "gradebook": Rule(SIGNED_IN, teaches_assignment, Action.SAW_GRADEBOOK),
    "gradebook_csv": Rule(SIGNED_IN, teaches_assignment, Action.TOOK_FILE),
    "gradebook_xlsx": Rule(SIGNED_IN, teaches_assignment, Action.TOOK_FILE),
    "section_gradebook": Rule(SIGNED_IN, teaches_section, Action.SAW_GRADEBOOK),
    "section_gradebook_csv": Rule(SIGNED_IN, teaches_section, Action.TOOK_FILE),
    "section_gradebook_xlsx": Rule(SIGNED_IN, teaches_section, Action.TOOK_FILE),
    "requirements_of": Rule(SIGNED_IN, teaches_assignment, Action.SAW_STUDENT),
    # one student's work
    "student_work": Rule(SIGNED_IN, teaches_assignment, Action.SAW_STUDENT),
    "override": Rule(SIGNED_IN, teaches_assignment),
    "remove_override": Rule(SIGNED_IN, teaches_assignment),
    "excuse_student": Rule(SIGNED_IN, teaches_assignment),
    "remove_excuse": Rule(SIGNED_IN, teaches_assignment),
    "comment_on_rung": Rule(SIGNED_IN, teaches_submission),
    "decide_second_look": Rule(SIGNED_IN, teaches_submission),
    "change_by_second_look": Rule(AUTHORS, teaches_submission),
    "set_requirement": Rule(SIGNED_IN, teaches_submission),
    "remove_requirement": Rule(SIGNED_IN, teaches_submission),
    "grading_page": Rule(SIGNED_IN, teaches_section),
    "delete_snippet": Rule(SIGNED_IN),
    "standing": Rule(SIGNED_IN, studies_in_section),
    "change_enrolment": Rule(SIGNED_IN, instructs_section),
    "change_owed": Rule(SIGNED_IN, instructs_section),
    "add_accommodation": Rule(SIGNED_IN, instructs_section),
    "remove_accommodation": Rule(SIGNED_IN, instructs_section),
    "change_section_rules": Rule(SIGNED_IN, instructs_section),
    "student_standing": Rule(SIGNED_IN, teaches_section, Action.SAW_STUDENT),
    "similarity": Rule(SIGNED_IN, teaches_assignment, Action.SAW_LIKENESS),
    # setting exercises
    "set_work": Rule(SIGNED_IN, instructs_section),
    "add_assignment": Rule(SIGNED_IN, instructs_section),
    "assignment_settings": Rule(SIGNED_IN, sets_assignment),
    "change_assignment": Rule(SIGNED_IN, sets_assignment),
    "give_time": Rule(SIGNED_IN, sets_assignment),
    "pair_up": Rule(SIGNED_IN, sets_assignment),
    "roll_over_page": Rule(SIGNED_IN, instructs_section),
    "apply_roll_over": Rule(SIGNED_IN, instructs_section),
    # learning-management systems
    "lti_keys": ANYBODY,
    "lti_login": ANYBODY,
    "lti_launch": ANYBODY,
    "lti_enter": ANYBODY,
    "lti_enter_in_frame": ANYBODY,
    "lti_configuration": ANYBODY,
    "begin_registration": ANYBODY,
    "finish_registration": ANYBODY,
    "hand_over_in_frame": ANYBODY,
    "openid_sign_in": ANYBODY,
    "openid_back": ANYBODY,
    "openid_sign_out": ANYBODY,
    "platforms": Rule(ADMINISTRATOR),
    "add_platform": Rule(ADMINISTRATOR),
    "invite_platform": Rule(ADMINISTRATOR),
    "change_platform": Rule(ADMINISTRATOR, names_a_platform),
    "remove_platform": Rule(ADMINISTRATOR, names_a_platform),
    "rotate_keys": Rule(ADMINISTRATOR),
    "lti_context": Rule(SIGNED_IN, connects_context),
    "connect_context": Rule(SIGNED_IN, connects_context),
    "lti_link": Rule(SIGNED_IN, binds_link),
    "bind_link": Rule(SIGNED_IN, binds_link),
    "lti_choice": Rule(SIGNED_IN, makes_choice),
    "hand_over_choice": Rule(SIGNED_IN, makes_choice),
    "send_scores_again": Rule(SIGNED_IN, sets_assignment),
    "roster_from_lms": Rule(SIGNED_IN, runs_section),
    # scripts
    "tokens": Rule(STAFF),
    "add_token": Rule(STAFF),
    "delete_token": Rule(STAFF),
    "api_description": Rule(STAFF),
    "api_sections": Rule(STAFF, scopes=frozenset({TokenScope.ROSTER, TokenScope.GRADEBOOK})),
    "api_roster": Rule(
        STAFF, runs_section, Action.TOOK_FILE, scopes=frozenset({TokenScope.ROSTER})
    ),
    "api_gradebook": Rule(
        STAFF, teaches_section, Action.TOOK_FILE, scopes=frozenset({TokenScope.GRADEBOOK})
    ),
    "api_report": Rule(
        DEPARTMENT, names_a_course, Action.TOOK_FILE, scopes=frozenset({TokenScope.REPORT})
    ),
    "api_exercises": Rule(STAFF, scopes=frozenset({TokenScope.EXERCISES})),
    # the lab hour
    "live_class": Rule(SIGNED_IN, teaches_section, Action.SAW_GRADEBOOK),
    "live_class_now": Rule(SIGNED_IN, teaches_section),
}


class SignInFirst(HTTPException):
    """Nobody is signed in; ``address`` is where to go after signing in."""

    def __init__(self, address: str) -> None:
        super().__init__(status.HTTP_401_UNAUTHORIZED, "You are signed out. Sign in to go on.")
        self.address = address


class FactorFirst(HTTPException):
    """An administrator has to set up a second factor before anything else."""

    def __init__(self) -> None:
        super().__init__(
            status.HTTP_403_FORBIDDEN,
            "Administrators need a second factor here. Set it up first, then repeat the last step.",
        )


def enforce(
    connection: HTTPConnection,
    session: Reading,
    database: DatabaseHere,
    zone: CollegeZoneHere,
    settings: SettingsHere,
    now: Now,
) -> None:
    """Let the visitor through to the route, or raise what they get instead."""
    rule = RULES.get(connection.scope["route"].name)
    if rule is not None and rule.scopes:
        _enforce_by_token(connection, session, database, rule, now)
        return
    found = _signed_in(session, connection, now)
    visitor = Visitor(found.user_id, found.name, found.role, found.token_hash) if found else None
    connection.state.visitor = visitor
    if found is not None and use_is_due(found.seen_at, now):
        _note_use(database, found.token_hash, now, settings)
    if rule is None or rule.roles is not None:
        if found is None or visitor is None:
            raise _refusal(connection, SignInFirst(_return_address(connection)))
        if rule is None or rule.roles is None or visitor.role not in rule.roles:
            raise _refusal(
                connection,
                HTTPException(403, f"This page is not for the role of {visitor.role.value}."),
            )
        connection.state.zone = zone.of(session)
        unready = visitor.role is Role.ADMINISTRATOR and found.stage is not Stage.WITH_CODE
        if settings.second_factor_required and unready and not rule.before_factor:
            raise _refusal(connection, FactorFirst())
        visit = Visit(session, visitor, _ids(connection.path_params), now)
        try:
            admitted = rule.owner is None or rule.owner(visit)
        except HTTPException as refused:
            raise _refusal(connection, refused) from None
        if not admitted:
            raise _refusal(connection, HTTPException(404))
        # A socket has no method: what it shows is seen.
        if rule.noted is not None and connection.scope.get("method", "GET") == "GET":
            _note(visit, rule.noted, database)
    else:
        _ids(connection.path_params)
    release_connection(session)


def _enforce_by_token(
    connection: HTTPConnection, session: Session, database: Database, rule: Rule, now: datetime
) -> None:
    """Let a script through that sends a token with a scope of the rule; a cookie opens nothing."""
    kind, _, secret = connection.headers.get("Authorization", "").partition(" ")
    token = find_token(session, secret, now) if kind.lower() == "bearer" else None
    if token is None:
        challenge = {"WWW-Authenticate": "Bearer"}
        raise HTTPException(status.HTTP_401_UNAUTHORIZED, TOKEN_FIRST, challenge)
    if not token.scopes & rule.scopes:
        needed = " or ".join(sorted(rule.scopes))
        raise HTTPException(403, f"This token has no scope {needed}. Make one that has.")
    owner = token.user
    if rule.roles is None or owner.role not in rule.roles:
        raise HTTPException(403, f"This is not for the role of {owner.role.value}.")
    visitor = Visitor(owner.id, owner.name, owner.role, "")
    connection.state.visitor = visitor
    visit = Visit(session, visitor, _ids(connection.path_params), now)
    if rule.owner is not None and not rule.owner(visit):
        raise HTTPException(404)
    if rule.noted is not None:
        _note(visit, rule.noted, database, f"by token {token.name}")
    if token.used_at is None or now - token.used_at >= USE_NOTED_EVERY:
        with database.write() as writing:
            note_token_use(writing, token.id, now)
    release_connection(session)


def _note(visit: Visit, action: Action, database: Database, detail: str = "") -> None:
    """Write a line in the log, unless it is the student who looks."""
    session, ids = visit.session, visit.ids
    submission = find_submission(session, ids["submission_id"]) if "submission_id" in ids else None
    assignment_id = submission.assignment_id if submission else ids.get("assignment_id")
    assignment = find_assignment(session, assignment_id) if assignment_id is not None else None
    section_id = assignment.section_id if assignment else ids.get("section_id")
    if section_id is not None and section_role(visit, section_id) in HANDING_IN:
        return
    person_id = submission.user_id if submission else ids.get("student_id", ids.get("person_id"))
    with database.write() as writing:
        note(
            writing,
            visit.now,
            visit.visitor.id,
            action,
            section_id,
            assignment_id=assignment_id,
            person_id=person_id,
            detail=detail,
        )


def _signed_in(session: Session, connection: HTTPConnection, now: datetime) -> SignedIn | None:
    token = read_cookie(connection, COOKIE)
    found = find_session(session, token, now) if token else None
    return found if found is not None and found.stage is not Stage.CODE_DUE else None


def _note_use(database: Database, token_hash: str, now: datetime, settings: Settings) -> None:
    try:
        with database.write() as session:
            note_use(session, [token_hash], now, settings.idle)
    except DBAPIError:
        # On a full disk pages can be read still.
        log.warning("the use of a session was not written down")


def _ids(path_params: Mapping[str, Any]) -> dict[str, int]:
    """Return the ids in the address; one that no table could hold names nothing."""
    ids = {name: value for name, value in path_params.items() if name.endswith("_id")}
    if not all(str(value).isascii() and str(value).isdecimal() for value in ids.values()):
        raise HTTPException(404)
    numbers = {name: int(value) for name, value in ids.items()}
    if any(number >= 2**31 for number in numbers.values()):
        raise HTTPException(404)
    return numbers


def _return_address(connection: HTTPConnection) -> str:
    query = connection.url.query
    return quote(connection.url.path + (f"?{query}" if query else ""), safe="/")


def _refusal(connection: HTTPConnection, refused: HTTPException) -> Exception:
    if connection.scope["type"] == "websocket":
        return WebSocketException(status.WS_1008_POLICY_VIOLATION, refused.detail)
    return refused


def visitor_of(connection: HTTPConnection) -> Visitor:
    found = connection.state.visitor
    assert isinstance(found, Visitor), "a route open to anybody asked who is signed in"
    return found


async def visitor_here(connection: HTTPConnection) -> Visitor:
    return visitor_of(connection)


VisitorHere = Annotated[Visitor, Depends(visitor_here)]


async def zone_here(connection: HTTPConnection) -> ZoneInfo:
    found: ZoneInfo = connection.state.zone
    return found


ZoneHere = Annotated[ZoneInfo, Depends(zone_here)]
"""The college's time zone, on pages for who is signed in."""
