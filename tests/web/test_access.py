"""Every route as every kind of person, and as nobody: who gets in, and what the others get.

A new route needs a row in PERMITTED; the test says so. Addresses with ids lead to one section's
assignment and to one student's submission in it.
"""

import shutil
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest
from fastapi.routing import APIRoute, APIWebSocketRoute
from starlette.testclient import TestClient

from server.marking.verdict import Status
from server.store.authored import begin
from server.store.courses import SectionRole
from server.store.database import Database
from server.store.outcome_actions import OutcomeAction, store_action
from server.store.outcomes import (
    Target,
    program_outcomes,
    save_outcome,
    save_program_outcome,
)
from server.store.people import Role, User
from server.store.versions import NamedVersion, name_version
from server.web.access import RULES
from server.web.app import routes
from tests.factories import (
    NOON,
    Clock,
    make_assignment,
    make_lti_link,
    make_marked,
    make_section,
    make_user,
)

NOBODY = "nobody"
EVERYBODY = {
    "author",
    "classmate",
    "other student",
    "instructor",
    "grader",
    "other instructor",
    "department",
    "administrator",
}
TEACHES = {"instructor", "grader"}
STAFF = {"instructor", "other instructor", "department", "administrator"}
OVERSEES = {"department", "administrator"}
RUNS = {"instructor", "administrator"}
IN_SECTION = {"author", "classmate", *TEACHES}

WRITES = {"instructor", "other instructor"}

PERMITTED: dict[str, set[str]] = {
    "authored_list": WRITES,
    "begin_exercise": WRITES,
    "import_exercise": WRITES,
    "published_schema": WRITES,
    "author_sheet": {"instructor"},
    "change_exercise": {"instructor"},
    "findings": {"instructor"},
    "exercise_as_text": {"instructor"},
    "save_text": {"instructor"},
    "preview_statement": {"instructor"},
    "export_exercise": {"instructor"},
    "open_bench": {"instructor"},
    "life": {"instructor"},
    "compare_version": {"instructor"},
    "publish_exercise": {"instructor"},
    "retire_exercise": {"instructor"},
    "set_exercise": {"instructor"},
    "guides": {NOBODY, *EVERYBODY},
    "guide": {NOBODY, *EVERYBODY},
    "sign_in_page": {NOBODY, *EVERYBODY},
    "sign_in": {NOBODY, *EVERYBODY},
    "sign_out": {NOBODY, *EVERYBODY},
    "join_page": {NOBODY, *EVERYBODY},
    "join": {NOBODY, *EVERYBODY},
    "sign_in_code_page": {NOBODY, *EVERYBODY},
    "sign_in_code": {NOBODY, *EVERYBODY},
    "where_signed_in": EVERYBODY,
    "end_other_session": EVERYBODY,
    "sign_out_everywhere": EVERYBODY,
    "own_password_page": EVERYBODY,
    "change_own_password": EVERYBODY,
    "second_factor": STAFF,
    "begin_second_factor": STAFF,
    "confirm_second_factor": STAFF,
    "renew_recovery_codes": STAFF,
    "turn_off_second_factor": STAFF,
    "forgotten_page": {NOBODY, *EVERYBODY},
    "send_link": {NOBODY, *EVERYBODY},
    "password_page": {NOBODY, *EVERYBODY},
    "set_password": {NOBODY, *EVERYBODY},
    "join_section": EVERYBODY,
    "my_data": EVERYBODY,
    "my_data_page": EVERYBODY,
    "calendar_page": EVERYBODY,
    "make_link_of_calendar": EVERYBODY,
    "remove_link_of_calendar": EVERYBODY,
    "mail_page": EVERYBODY,
    "set_mails": EVERYBODY,
    # Without a key there is nothing here, whoever asks.
    "calendar_feed": set(),
    "ask_correction": EVERYBODY,
    "answer_correction": TEACHES,
    "hold_data": {"administrator"},
    "change_retention": {"administrator"},
    "people": {"administrator"},
    "add_person": {"administrator"},
    "password_link": {"administrator"},
    "rename_person": {"administrator"},
    "change_address": {"administrator"},
    "disconnect_person": {"administrator"},
    "disable_account": {"administrator"},
    "enable_account": {"administrator"},
    "remove_second_factor": {"administrator"},
    "may_see_names": {"administrator"},
    "export_person": {"administrator"},
    "erase_person": {"administrator"},
    "server_state": {"administrator"},
    "people_csv": {"administrator"},
    "import_people": {"administrator"},
    "courses": {"administrator"},
    "add_term": {"administrator"},
    "add_course": {"administrator"},
    "add_section": {"administrator"},
    "change_term": {"administrator"},
    "delete_term": {"administrator"},
    "change_course": {"administrator"},
    "delete_course": {"administrator"},
    "change_section": {"administrator"},
    "delete_section": {"administrator"},
    "change_time_zone": {"administrator"},
    "roster_page": RUNS,
    "preview_roster": RUNS,
    "apply_roster": RUNS,
    "enrol_person": RUNS,
    "remove_from_section": RUNS,
    "confirm_people": RUNS,
    "join_code": RUNS,
    "first_passwords": RUNS,
    "grade_log": RUNS,
    "report_list": OVERSEES,
    "report": OVERSEES,
    "outcome_catalogue": OVERSEES,
    "set_outcome": OVERSEES,
    "delete_outcome_version": OVERSEES,
    "outcome_actions": OVERSEES,
    "add_action": OVERSEES,
    "change_action": OVERSEES,
    "binder": OVERSEES,
    "sign": OVERSEES,
    "program_outcome_list": OVERSEES,
    "set_program_outcome": OVERSEES,
    "remove_program_outcome": OVERSEES,
    "report_csv": OVERSEES,
    "report_xlsx": OVERSEES,
    "report_work": OVERSEES,
    "report_submission": OVERSEES,
    "set_work": {"instructor"},
    "add_assignment": {"instructor"},
    "assignment_settings": {"instructor"},
    "change_assignment": {"instructor"},
    "give_time": {"instructor"},
    "pair_up": {"instructor"},
    "roll_over_page": {"instructor"},
    "apply_roll_over": {"instructor"},
    "similarity": TEACHES,
    "lti_keys": {NOBODY, *EVERYBODY},
    "lti_login": {NOBODY, *EVERYBODY},
    "lti_launch": {NOBODY, *EVERYBODY},
    "lti_enter": {NOBODY, *EVERYBODY},
    "lti_enter_in_frame": {NOBODY, *EVERYBODY},
    "lti_configuration": {NOBODY, *EVERYBODY},
    "begin_registration": set(),
    "finish_registration": set(),
    # Without a ticket there is nothing here, whoever asks.
    "hand_over_in_frame": set(),
    "openid_sign_in": {NOBODY, *EVERYBODY},
    "openid_back": {NOBODY, *EVERYBODY},
    "openid_sign_out": {NOBODY, *EVERYBODY},
    "platforms": {"administrator"},
    "add_platform": {"administrator"},
    "invite_platform": {"administrator"},
    "change_platform": {"administrator"},
    "remove_platform": {"administrator"},
    "rotate_keys": {"administrator"},
    "lti_context": RUNS,
    "connect_context": RUNS,
    "lti_link": {"instructor"},
    "bind_link": {"instructor"},
    "lti_choice": {"instructor"},
    "hand_over_choice": {"instructor"},
    "send_scores_again": {"instructor"},
    "roster_from_lms": RUNS,
    "home": EVERYBODY,
    "exercise": IN_SECTION,
    "edit_program": IN_SECTION,
    "undo": IN_SECTION,
    "redo": IN_SECTION,
    "preview": IN_SECTION,
    "about_selected": IN_SECTION,
    "elements": EVERYBODY,
    # Only a supervised lab has these; test_sittings tries them.
    "sitting_page": set(),
    "take_seat": set(),
    "sitting_time": set(),
    "leave_lab": set(),
    "renew_pass_code": set(),
    "give_sitting_minutes": set(),
    "versions": IN_SECTION,
    "keep_version": IN_SECTION,
    "delete_version": {"author"},
    "compare_states": IN_SECTION,
    "compare_attempts": {"author", *TEACHES},
    "restore_version": IN_SECTION,
    "program_as_text": IN_SECTION,
    "program_as_xml": IN_SECTION,
    "preview_import": IN_SECTION,
    "import_program": IN_SECTION,
    "print_program": IN_SECTION,
    "print_submission": {"author", *TEACHES},
    "submit": IN_SECTION,
    "verdict": {"author", *TEACHES},
    "verdict_progress": {"author", *TEACHES},
    "change_released_runs": {"instructor"},
    "faulty_places": {"author", *TEACHES},
    "trial": IN_SECTION,
    "trial_socket": IN_SECTION,
    "watch_trial": TEACHES,
    "watch_socket": TEACHES,
    "gradebook": TEACHES,
    "gradebook_csv": TEACHES,
    "gradebook_xlsx": TEACHES,
    "section_gradebook": TEACHES,
    "section_gradebook_csv": TEACHES,
    "section_gradebook_xlsx": TEACHES,
    "requirements_of": TEACHES,
    "student_work": TEACHES,
    "override": TEACHES,
    "remove_override": TEACHES,
    "excuse_student": TEACHES,
    "remove_excuse": TEACHES,
    "comment_on_rung": TEACHES,
    "change_by_second_look": TEACHES & WRITES,
    "decide_second_look": TEACHES,
    "set_requirement": TEACHES,
    "remove_requirement": TEACHES,
    "grading_page": TEACHES,
    # Of one's own.
    "delete_snippet": EVERYBODY,
    "diagnosis": TEACHES,
    "standing": {"author", "classmate"},
    "change_enrolment": {"instructor"},
    "change_owed": {"instructor"},
    "add_accommodation": {"instructor"},
    "remove_accommodation": {"instructor"},
    "change_section_rules": {"instructor"},
    "student_standing": TEACHES,
    "tokens": STAFF,
    "add_token": STAFF,
    # There is no such token.
    "delete_token": set(),
    "api_description": STAFF,
    # These ask for a token; test_api tries every scope.
    "api_sections": set(),
    "api_roster": set(),
    "api_gradebook": set(),
    "api_report": set(),
    "api_exercises": set(),
    "live_class": TEACHES,
    "live_class_now": TEACHES,
}

SOCKETS = {route.name for route in routes() if isinstance(route, APIWebSocketRoute)}
"""Their rows are tried in test_trial."""

REFUSED = {303, 401, 403, 404}


World = tuple[dict[str, User | None], dict[str, int]]


def populate(database: Database) -> World:
    """Make one person of each kind, and what the ids in addresses stand for."""
    with database.write() as session:
        people: dict[str, User | None] = {
            "author": make_user(session),
            "classmate": make_user(session),
            "other student": make_user(session),
            # What somebody is in a section counts, not what they are elsewhere.
            "grader": make_user(session, Role.STUDENT),
            "instructor": make_user(session, Role.INSTRUCTOR),
            "other instructor": make_user(session, Role.INSTRUCTOR),
            "department": make_user(session, Role.DEPARTMENT),
            "administrator": make_user(session, Role.ADMINISTRATOR),
        }
        roles = {
            "author": SectionRole.STUDENT,
            "classmate": SectionRole.STUDENT,
            "instructor": SectionRole.INSTRUCTOR,
            "grader": SectionRole.GRADER,
        }
        section = make_section(
            session, *((user, roles[who]) for who, user in people.items() if user and who in roles)
        )
        assignment = make_assignment(session, section, exercise="wash-sump")
        author = people["author"]
        assert author is not None
        submission = make_marked(session, assignment, author, R1=Status.MET)
        teacher = people["instructor"]
        assert teacher is not None
        authored = begin(session, teacher.id, "day-tank", "Day tank", "title: a\n", {}, NOON)
        assert authored is not None
        version = name_version(session, assignment, author.id, "First", {"name": "p"}, NOON)
        assert isinstance(version, NamedVersion)
        save_program_outcome(session, "P1", "Can do.", None)
        save_outcome(
            *(session, section.course_id, section.term, "stopping"),
            statement="Stops.",
            target=Target(),
            feeds=[each.id for each in program_outcomes(session)],
        )
        action = OutcomeAction(
            course_id=section.course_id,
            outcome="stopping",
            term_id=section.term_id,
            students=4,
            reached=1,
            share=0.8,
            finding="Few stop.",
            action="Show it.",
            responsible="Course lead",
            due=NOON.date(),
            at=NOON,
        )
        store_action(session, action)
        ids = {
            "outcome_id": program_outcomes(session)[0].id,
            "action_id": action.id,
            "section_id": section.id,
            "course_id": section.course_id,
            "term_id": section.term_id,
            "assignment_id": assignment.id,
            "submission_id": submission.id,
            "student_id": author.id,
            "authored_id": authored.id,
            "version_id": version.id,
            "person_id": author.id,
            **make_lti_link(session, assignment, teacher),
        }
        elsewhere = make_section(
            session,
            *(
                (user, role)
                for who, role in (
                    ("other student", SectionRole.STUDENT),
                    ("other instructor", SectionRole.INSTRUCTOR),
                )
                if (user := people[who])
            ),
        )
        make_assignment(session, elsewhere)
    return {NOBODY: None, **people}, ids


@pytest.fixture(scope="module")
def populated(migrated_file: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, World]:
    """A database that each test gets a copy of."""
    file = tmp_path_factory.mktemp("populated") / "rungmark.db"
    shutil.copyfile(migrated_file, file)
    with closing(Database(f"sqlite:///{file}")) as database:
        return file, populate(database)


@pytest.fixture
def database(populated: tuple[Path, World], tmp_path: Path) -> Iterator[Database]:
    file = tmp_path / "rungmark.db"
    shutil.copyfile(populated[0], file)
    with closing(Database(f"sqlite:///{file}")) as database:
        yield database


@pytest.fixture
def world(populated: tuple[Path, World]) -> World:
    return populated[1]


def test_every_route_has_a_row_here() -> None:
    assert PERMITTED.keys() == RULES.keys() == {route.name for route in routes()}


@pytest.mark.parametrize("name", sorted(PERMITTED.keys() - SOCKETS))
def test_who_gets_in(
    name: str,
    world: World,
    client_for: Callable[[User | None], TestClient],
) -> None:
    people, ids = world
    (route,) = (route for route in routes() if route.name == name)
    assert isinstance(route, APIRoute)
    path = route.path.format(**ids, name="operating", ticket="made-up")
    for who, user in people.items():
        for method in route.methods or ():
            answer = client_for(user).request(method, path)
            at_door = answer.status_code in REFUSED and answer.headers.get(
                "location", "/sign-in?"
            ).startswith("/sign-in?")
            assert at_door == (who not in PERMITTED[name]), (who, method, answer.status_code)
            assert answer.status_code < 500


def test_a_number_that_was_never_given_out(
    world: World,
    client_for: Callable[[User | None], TestClient],
) -> None:
    """On every route, in one world: nothing is changed by what isn't there."""
    people, ids = world
    clients = {who: client_for(people[who]) for who in ("instructor", "administrator")}
    for route in routes():
        if "_id}" not in route.path or route.name in SOCKETS or RULES[route.name].scopes:
            continue
        assert isinstance(route, APIRoute)
        who = "instructor" if "instructor" in PERMITTED[route.name] else "administrator"
        for number in ("0", "999999", "99999999999999999999", "-1", "x", "1%00"):
            path = route.path.format(**dict.fromkeys(ids, number))
            for method in route.methods or ():
                answer = clients[who].request(method, path)
                assert answer.status_code == 404, (method, path)


def test_an_exercise_that_is_not_open_does_not_exist_for_students(
    world: World,
    client_for: Callable[[User | None], TestClient],
    clock: Clock,
) -> None:
    people, ids = world
    clock.now = NOON - timedelta(days=2)
    path = f"/assignments/{ids['assignment_id']}"
    assert client_for(people["author"]).get(path).status_code == 404
    for who in TEACHES:
        assert client_for(people[who]).get(path).status_code != 404
