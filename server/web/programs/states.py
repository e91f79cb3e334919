"""The states of somebody's program that a page can name: now, a kept version, an attempt, a step.

A state is named in an address by ``now``, ``start``, ``version-12``, ``attempt-3`` or ``step-40``.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from fastapi import HTTPException
from sqlalchemy.orm import Session

from server.ladder.json_form import from_json
from server.ladder.program import Program
from server.marking.exercise import Exercise
from server.marking.files.catalogue import start_program
from server.store.attempts import Submission
from server.store.programs import WorkingCopy, find_step, working_copy
from server.store.submissions import attempts_of
from server.store.versions import find_version, versions_of
from server.web.workplace import Workplace

_NAMED = re.compile(r"(version|attempt|step)-([0-9]{1,9})", re.ASCII)


@dataclass(frozen=True, slots=True)
class StateName:
    """What a state is called in an address and on a page; ``at`` is when it was kept."""

    ref: str
    words: str
    at: datetime | None = None


@dataclass(frozen=True, slots=True)
class State:
    """A state with its program."""

    name: StateName
    program: Program


def find_state(
    session: Session, here: Workplace, user_id: int, copy: WorkingCopy, ref: str
) -> State:
    """Return a state of this person's own program at this assignment, or 404."""
    if ref == NOW:
        return State(_now(copy), from_json(copy.program))
    if ref == START.ref:
        return start_of(here.exercise)
    named = _NAMED.fullmatch(ref)
    if named is None:
        raise HTTPException(404)
    number = int(named[2])
    if named[1] == "version":
        version = find_version(session, here.assignment, user_id, number)
        if version is None:
            raise HTTPException(404)
        return State(StateName(ref, version.name, version.saved_at), from_json(version.program))
    if named[1] == "step":
        step = find_step(session, here.assignment, user_id, number)
        if step is None:
            raise HTTPException(404)
        return State(step_name(number, step.saved_at), from_json(step.program))
    for attempt in attempts_of(session, here.assignment, user_id):
        if attempt.attempt == number:
            return state_of(attempt)
    raise HTTPException(404)


def start_of(exercise: Exercise) -> State:
    """Return what everybody begins with."""
    return State(START, start_program(exercise))


def state_of(attempt: Submission) -> State:
    """Return a program as it was submitted."""
    words = f"Attempt {attempt.attempt}"
    name = StateName(f"attempt-{attempt.attempt}", words, attempt.submitted_at)
    return State(name, from_json(attempt.program))


def state_names(
    session: Session, here: Workplace, user_id: int, copy: WorkingCopy
) -> Iterator[StateName]:
    """Yield the states to compare: now, versions, attempts from the newest, the start."""
    yield _now(copy)
    kept = [
        (version.saved_at, f"version-{version.id}", version.name)
        for version in versions_of(session, here.assignment, user_id)
    ] + [
        (attempt.submitted_at, f"attempt-{attempt.attempt}", f"Attempt {attempt.attempt}")
        for attempt in attempts_of(session, here.assignment, user_id)
    ]
    for at, ref, words in sorted(kept, reverse=True):
        yield StateName(ref, words, at)
    yield START


def step_name(position: int, at: datetime | None) -> StateName:
    """Return what a state that undo or redo leads to is called."""
    return StateName(f"step-{position}", f"Step {position}", at)


def state_here(session: Session, here: Workplace, user_id: int, ref: str) -> State:
    """Return the same, for a page that needs nothing else of the working program."""
    copy = working_copy(session, here.assignment, user_id, here.start)
    return find_state(session, here, user_id, copy, ref)


NOW = "now"
START = StateName("start", "What the exercise gives")


def _now(copy: WorkingCopy) -> StateName:
    return StateName(NOW, "The program now", copy.saved_at)
