"""The department's catalogue: outcomes of a course by term, and the program outcomes they feed."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Form, Query, Request
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from server.marking.files.catalogue import Catalogue
from server.store import reports
from server.store.audit import note
from server.store.audit_chain import Action
from server.store.courses import Course, Term, all_courses, find_term, get_course
from server.store.outcomes import (
    MAX_OUTCOME,
    MAX_STATEMENT,
    OutcomeVersion,
    Target,
    delete_program_outcome,
    delete_version,
    find_program_outcome,
    in_force,
    outcome_versions,
    program_outcomes,
    save_outcome,
    save_program_outcome,
)
from server.store.report_work import exercises_in, terms_of, work_of
from server.store.reports import Attainment
from server.web.access import VisitorHere
from server.web.dependencies import CatalogueHere, DatabaseHere, Now, Reading, Writing
from server.web.rendering import page
from server.web.reports.figures import outcomes_of

router = APIRouter()

Links = Mapping[str, Sequence[tuple[str, Sequence[str]]]]
"""By outcome: titles of the exercises that name it, each with the requirements."""


@dataclass(frozen=True, slots=True)
class CatalogueEntry:
    """An outcome on the page of the catalogue; ``version`` holds in the term, if there is any."""

    outcome: str
    statement: str
    version: OutcomeVersion | None
    links: Sequence[tuple[str, Sequence[str]]]

    @property
    def target(self) -> Target:
        return self.version.target if self.version else Target()


@router.get("/reports/{course_id}/outcomes")
def outcome_catalogue(
    request: Request,
    course_id: int,
    session: Reading,
    catalogue: CatalogueHere,
    term: Annotated[int | None, Query()] = None,
) -> Response:
    """Show the outcomes of a course as they hold in a term, and which exercises name them."""
    return _page(request, session, catalogue, course_id, term)


@router.post("/reports/{course_id}/outcomes")
def set_outcome(
    request: Request,
    course_id: int,
    database: DatabaseHere,
    catalogue: CatalogueHere,
    visitor: VisitorHere,
    now: Now,
    outcome: Annotated[str, Form(max_length=MAX_OUTCOME)] = "",
    statement: Annotated[str, Form(max_length=MAX_STATEMENT)] = "",
    level: Annotated[int, Form()] = 70,
    share: Annotated[int, Form()] = 80,
    term: Annotated[int, Form()] = 0,
    listed: Annotated[bool, Form()] = False,
    feeds: Annotated[list[int] | None, Form()] = None,
) -> Response:
    """Let an outcome hold like this from a term on; level and share are in per cent."""
    outcome, statement = outcome.strip(), statement.strip()
    with database.read() as session:
        since = find_term(session, term)
    mistake = ""
    if since is None:
        mistake = "There is no such term. Choose one of the list."
    elif not outcome or (listed and not statement):
        mistake = "An outcome of the catalogue needs a short name and what it says. Enter both."
    elif not (0 <= level <= 100 and 0 <= share <= 100):
        mistake = "A target needs two numbers from 0 to 100. Correct them."
    if since is None or mistake:
        typed = {"outcome": outcome, "statement": statement, "level": level, "share": share}
        with database.read() as session:
            return _page(request, session, catalogue, course_id, term, mistake, typed=typed)
    with database.write() as session:
        save_outcome(
            session,
            course_id,
            since,
            outcome,
            statement=statement,
            target=Target(level / 100, share / 100),
            listed=listed,
            feeds=feeds or (),
        )
        detail = f"{outcome} from {since.name} on"
        note(session, now, visitor.id, Action.CHANGED_OUTCOMES, detail=detail)
    return RedirectResponse(f"/reports/{course_id}/outcomes?term={since.id}", 303)


@router.post("/reports/{course_id}/outcomes/delete")
def delete_outcome_version(
    course_id: int,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    outcome: Annotated[str, Form(max_length=MAX_OUTCOME)] = "",
    term: Annotated[int, Form()] = 0,
) -> Response:
    """Delete a version of an outcome, so that the one before it holds on."""
    if delete_version(session, course_id, outcome, term):
        detail = f"deleted a version of {outcome}"
        note(session, now, visitor.id, Action.CHANGED_OUTCOMES, detail=detail)
    return RedirectResponse(f"/reports/{course_id}/outcomes?term={term}", 303)


def _page(
    request: Request,
    session: Session,
    catalogue: Catalogue,
    course_id: int,
    term_id: int | None,
    mistake: str = "",
    *,
    typed: Mapping[str, object] | None = None,
) -> Response:
    terms = [term for term, _ in terms_of(session, course_id)]
    term = next((each for each in terms if each.id == term_id), next(iter(terms), None))
    versions = outcome_versions(session, [course_id])
    entries = _entries(session, catalogue, course_id, term, versions) if term else []
    return page(
        request,
        "reports/outcomes.html",
        422 if mistake else 200,
        course=get_course(session, course_id),
        terms=terms,
        term=term,
        listed=[each for each in entries if each.version and each.version.listed],
        local=[each for each in entries if not (each.version and each.version.listed)],
        versions=versions,
        program=program_outcomes(session),
        mistake=mistake,
        typed=typed or {},
    )


def _entries(
    session: Session,
    catalogue: Catalogue,
    course_id: int,
    term: Term,
    versions: Sequence[OutcomeVersion],
) -> list[CatalogueEntry]:
    """Return the outcomes of a term by name: those of the catalogue and those of its exercises."""
    titles = exercises_in(session, course_id, term.id)
    mapping, names = outcomes_of(catalogue, titles)
    links: dict[str, dict[str, list[str]]] = defaultdict(lambda: defaultdict(list))
    for slug, title in titles.items():
        for requirement, outcomes in mapping.get(slug, {}).items():
            for outcome in outcomes:
                links[outcome][title].append(requirement)
    current = in_force(versions, term)
    shown = {*links, *(name for name, each in current.items() if each.listed)}
    return [
        CatalogueEntry(
            name,
            version.statement if version and version.listed else names.get(name, ""),
            version,
            list(links[name].items()),
        )
        for name in sorted(shown)
        for version in [current.get(name)]
    ]


@dataclass(frozen=True, slots=True)
class Feeding:
    """An outcome of a course that feeds a program outcome; ``reached`` None: not assessed."""

    course: Course
    version: OutcomeVersion
    attained: Attainment | None


@router.get("/program-outcomes")
def program_outcome_list(
    request: Request,
    session: Reading,
    catalogue: CatalogueHere,
    term: Annotated[int | None, Query()] = None,
) -> Response:
    """Show what graduates can do, and in one term the outcomes of courses that feed it."""
    return _program_page(request, session, catalogue, term)


@router.post("/program-outcomes")
def set_program_outcome(
    request: Request,
    database: DatabaseHere,
    catalogue: CatalogueHere,
    visitor: VisitorHere,
    now: Now,
    code: Annotated[str, Form(max_length=20)] = "",
    statement: Annotated[str, Form(max_length=MAX_STATEMENT)] = "",
    id: Annotated[int | None, Form()] = None,
) -> Response:
    """Add a program outcome, or change one."""
    code, statement = code.strip(), statement.strip()
    mistake = "" if code and statement else "A program outcome needs a code and what it says."
    if not mistake:
        with database.write() as session:
            if save_program_outcome(session, code, statement, id):
                detail = f"program outcome {code}"
                note(session, now, visitor.id, Action.CHANGED_OUTCOMES, detail=detail)
                return RedirectResponse("/program-outcomes", 303)
        mistake = f"Another program outcome is called {code}. Choose another code."
    typed = {"code": code, "statement": statement, "id": id}
    with database.read() as session:
        return _program_page(request, session, catalogue, None, mistake, typed=typed)


@router.post("/program-outcomes/{outcome_id}/delete")
def remove_program_outcome(
    request: Request,
    outcome_id: int,
    database: DatabaseHere,
    catalogue: CatalogueHere,
    visitor: VisitorHere,
    now: Now,
) -> Response:
    """Delete a program outcome that no outcome feeds."""
    with database.write() as session:
        found = find_program_outcome(session, outcome_id)
        refused = delete_program_outcome(session, found) if found else ""
        if not refused:
            detail = "deleted a program outcome"
            note(session, now, visitor.id, Action.CHANGED_OUTCOMES, detail=detail)
            return RedirectResponse("/program-outcomes", 303)
    with database.read() as session:
        return _program_page(request, session, catalogue, None, refused)


def _program_page(
    request: Request,
    session: Session,
    catalogue: Catalogue,
    term_id: int | None,
    mistake: str = "",
    *,
    typed: Mapping[str, object] | None = None,
) -> Response:
    by_course = {course.id: terms_of(session, course.id) for course in all_courses(session)}
    known = {term.id: term for found in by_course.values() for term, _ in found}
    terms = sorted(known.values(), key=lambda each: (each.begins, each.id), reverse=True)
    with_work = {term.id for found in by_course.values() for term, has_work in found if has_work}
    newest = next((each for each in terms if each.id in with_work), next(iter(terms), None))
    term = known.get(term_id or 0, newest)
    feeding = _feeding(session, catalogue, term) if term else {}
    return page(
        request,
        "reports/program.html",
        422 if mistake else 200,
        terms=terms,
        term=term,
        program=[(each, feeding.get(each.id, [])) for each in program_outcomes(session)],
        mistake=mistake,
        typed=typed or {},
    )


def _feeding(session: Session, catalogue: Catalogue, term: Term) -> dict[int, list[Feeding]]:
    """Return by program outcome the outcomes that feed it in a term, with their figures."""
    versions: dict[int, list[OutcomeVersion]] = defaultdict(list)
    for each in outcome_versions(session):
        versions[each.course_id].append(each)
    found: dict[int, list[Feeding]] = defaultdict(list)
    for own in versions.values():
        current = in_force(own, term)
        if not any(each.listed and each.feeds for each in current.values()):
            continue
        course = own[0].course
        work = work_of(session, course.id, [term.id])
        mapping, _ = outcomes_of(catalogue, (each.exercise for each in work))
        targets = {name: each.target for name, each in current.items()}
        attained = reports.attainment(work, mapping, targets)
        for name, each in current.items():
            for fed in each.feeds if each.listed else ():
                found[fed.id].append(Feeding(course, each, attained.get(name)))
    return {id: sorted(rows, key=_place) for id, rows in found.items()}


def _place(each: Feeding) -> tuple[str, str]:
    return each.course.code, each.version.outcome
