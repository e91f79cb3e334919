"""Values that get a made-up request past its first checks: ids, actions of the editor, dates."""

import json
from copy import deepcopy
from dataclasses import fields
from typing import Any, get_args

from hypothesis import strategies as st
from sqlalchemy import select
from sqlalchemy.orm import Session

from server.ladder.actions import Action
from server.store.attempts import Submission
from server.store.authored import AuthoredExercise
from server.store.courses import Assignment, Course, Enrolment, Section, Term
from server.store.people import Role, User
from server.web.authoring.changes import ACTIONS
from tests.web.lab import OVERFILLS, RIGHT

SCRAPS = (
    *RIGHT,
    *OVERFILLS,
    "fill_pump := start_pb;",
    "start_pb",
    "NOT stop_pb",
    "pause(IN := start_pb, PT := T#1s);",
    "pause.Q",
    "(S) lamp",
    "x := (a OR b",
    "9999999999 < level",
)
"""What stands in a field of the program's text form, right and wrong."""

WORDS: dict[str, tuple[str, ...]] = {
    "email": ("larysa.melnychuk@larkmoor.example", "new@larkmoor.example", "a@b", "@", ""),
    "next": ("/", "/people", "//elsewhere.example", "/\\elsewhere.example"),
    "points": ("3", "2.5", "-1", "nan", "inf", "1e308", "1e999", "0,5", "٣"),
    "weight": ("1", "0", "-1", "nan", "1e999"),
    "late": ("0", "10", "-1", "nan", "101"),
    "attempts": ("", "1", "0", "-1", "99999999999999999999"),
    "feedback_from": ("1", "0", "99999999999999999999"),
    "rung": ("", "1", "2", "-1", "99999999999999999999", "²"),
    "opens": ("2026-11-01T08:00", "0001-01-01T00:00", "9999-12-31T23:59", "2026-13-01T08:00"),
    "closes": ("", "2026-12-31T08:00", "9999-12-31T23:59"),
    "begins": ("2026-08-24", "0001-01-01", "24.8.2026"),
    "ends": ("2026-12-18", "9999-12-31", ""),
    "exercise": ("apple-wash-sump", "wash-sump", "../etc", "no-such"),
    "counting": ("best", "last", "worst"),
    "feedback": ("verdict", "sentence", "chart", "all"),
    "outcome": ("seal-in", "no-such"),
    "requirement": ("R1", "R2a", "no-such"),
    "slug": ("day-tank", "Day Tank", "..", "a" * 80),
    "source": ("", "apple-wash-sump", "copy:1", "no-such"),
    "role": ("student", "grader", "instructor", "administrator", "king"),
}


NUMBERS: dict[str, tuple[int, ...]] = {
    "revision": (0, 1, 2, 3, -1, 2**63),
    "level": (70, 0, 100, -1, 2**31, 2**63, 2**70),
    "share": (80, 0, 100, 101, 2**63),
}


def ids(session: Session, user: User | None) -> dict[str, tuple[Any, ...]]:
    """Ids of rows that are there, by the names under which addresses and forms have them.

    Of what somebody has to do with, if they have: their sections, a student's own submissions.
    """

    def some(column: Any, *conditions: Any) -> tuple[int, ...]:
        query = select(column).where(*conditions).order_by(column.desc()).limit(6)
        # Also numbers that were never given out, or that no column holds.
        return (*session.scalars(query), 0, 2**63)

    places = select(Enrolment.section_id).where(Enrolment.user_id == user.id) if user else None
    mine = [] if places is None or not session.scalars(places).all() else [places]
    work = [Assignment.section_id.in_(each) for each in mine]
    people = select(Enrolment.user_id).where(*(Enrolment.section_id.in_(each) for each in mine))
    students = some(User.id, User.role == Role.STUDENT, User.id.in_(people))
    handed_in = [
        Submission.assignment_id.in_(select(Assignment.id).where(*work)),
        *([Submission.user_id == user.id] if user and user.role is Role.STUDENT else ()),
    ]
    return {
        "assignment_id": some(Assignment.id, *work),
        "section_id": some(Section.id, *(Section.id.in_(each) for each in mine)),
        "course_id": some(Course.id),
        "submission_id": some(Submission.id, *handed_in) if user else some(Submission.id),
        "authored_id": some(AuthoredExercise.id),
        "student_id": students,
        "person_id": students,
        "student": students,
        "person": students,
        "first": students,
        "second": students,
        "section": some(Section.id),
        "course": some(Course.id),
        "term": some(Term.id),
    }


def with_plausible(description: dict[str, Any], known: dict[str, tuple[Any, ...]]) -> Any:
    """The OpenAPI description with real values beside what each field's schema allows."""
    description = deepcopy(description)
    for path in description["paths"].values():
        for operation in path.values():
            for parameter in operation.get("parameters", ()):
                parameter["schema"] = _widened(parameter["name"], parameter["schema"], known)
    for component in description["components"]["schemas"].values():
        for name, schema in component.get("properties", {}).items():
            component["properties"][name] = _widened(name, schema, known)
    return description


def _widened(name: str, schema: dict[str, Any], known: dict[str, tuple[Any, ...]]) -> Any:
    if schema.get("type") == "string" and name in FORMATS:
        return {"type": "string", "format": f"plausible-{name}"}
    # A choice between these and any number would be the same as any number.
    values = known.get(name) or NUMBERS.get(name)
    return schema if values is None else {"enum": list(values)}


def _text() -> st.SearchStrategy[str]:
    return st.sampled_from(SCRAPS) | st.text(max_size=20)


def _field(name: str, kind: object) -> st.SearchStrategy[Any]:
    if kind is int:
        return st.integers(-1, 4)
    if name in ("path", "before", "target", "source", "first", "last"):
        return st.lists(st.integers(-1, 3), max_size=4)
    if name == "serves":
        return st.lists(st.sampled_from(["R1", "R2a", "", "R 9"]), max_size=3)
    if name == "variable":
        declared = {"name": "pause", "type": "TON", "initial": "7", "address": "%MX0.0"}
        return st.just(declared) | st.dictionaries(st.sampled_from(list(declared)), _text())
    return _text() | st.integers(-1, 4) | st.sampled_from(["before", "after", "normal", "negated"])


def _action(kind: type[Any]) -> st.SearchStrategy[dict[str, Any]]:
    return st.fixed_dictionaries(
        {
            each.name: st.just(each.default)
            if each.name == "action"
            else st.lists(_simple_actions(), max_size=3)
            if each.name == "actions"
            else _field(each.name, each.type)
            for each in fields(kind)
        }
    )


def _simple_actions() -> st.SearchStrategy[dict[str, Any]]:
    kinds = [kind for kind in get_args(Action) if "actions" not in kind.__slots__]
    return st.one_of([_action(kind) for kind in kinds])


def _edits() -> st.SearchStrategy[str]:
    """The editor's field ``action``."""
    whole = st.one_of([_action(kind) for kind in get_args(Action)])
    return (whole | st.recursive(st.none() | st.integers() | st.text(), st.lists)).map(json.dumps)


def _changes() -> st.SearchStrategy[str]:
    """The author's field ``change``."""
    places = st.sampled_from(
        ["requirements", "points", "scenarios", "plant", "tank", "title", "steps", "checks", 0, 1]
    )
    words = st.sampled_from(["on", "R1", "tank", "never", "- {a: b}", "{", "", "0", "1 s"])
    return st.fixed_dictionaries(
        {
            "do": st.sampled_from(list(ACTIONS)),
            "path": st.lists(places, max_size=4),
            "value": words | st.text(max_size=20),
        }
    ).map(json.dumps)


def _rosters() -> st.SearchStrategy[str]:
    rows = st.lists(st.sampled_from(["bo@larkmoor.example", "Bo Li", "Name", "Email", "", '"']))
    return st.lists(rows.map(",".join), max_size=4).map("\n".join)


FORMATS: dict[str, st.SearchStrategy[str]] = {
    "action": _edits(),
    "change": _changes(),
    "text": _text() | _rosters(),
    **{name: st.sampled_from(words) | st.text(max_size=40) for name, words in WORDS.items()},
    "due": st.sampled_from(["2026-12-01T12:00", "2026-12-01", "9999-12-31T23:59", "0001-01-01"]),
}
