"""The department's report: outcomes, requirements, mistakes, and down to the submissions."""

from collections.abc import Collection
from datetime import datetime
from enum import StrEnum
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from markupsafe import Markup
from sqlalchemy.orm import Session
from starlette.responses import Response

from server.ladder.drawing import draw_rung
from server.ladder.json_form import from_json
from server.marking.verdict_form import from_json as verdict_from_json
from server.store import reports
from server.store.audit import note
from server.store.audit_chain import Action
from server.store.courses import all_courses, all_sections, get_course
from server.store.database import Database, Document
from server.store.outcomes import Target, outcome_versions, targets_in
from server.store.people import Role, get_person, names_of
from server.store.report_work import Work, terms_of, work_of
from server.store.reports import OutcomeMap
from server.store.statistics import ENOUGH, SMALL
from server.store.submissions import find_submission
from server.web.access import Visitor, VisitorHere
from server.web.dependencies import CatalogueHere, DatabaseHere, Now, Reading
from server.web.rendering import environment, page
from server.web.reports.figures import TERMS, Report, outcomes_of, read_report
from server.web.reports.tables import ReportTable, table_of, tables_of
from server.web.spreadsheet import download, download_xlsx

router = APIRouter()

WIDTH = 440
"""Of a rung beside others, in pixels."""


class ReportLeaf(StrEnum):
    """Which leaf of the report; the value stands in the address and in its template's name."""

    OUTCOMES = "outcomes"
    TREND = "trend"
    EXERCISES = "exercises"
    REQUIREMENTS = "requirements"
    MISTAKES = "mistakes"


@router.get("/reports")
def report_list(request: Request, session: Reading, now: Now) -> Response:
    return page(request, "reports/list.html", courses=all_courses(session), now=now)


@router.get("/reports/{course_id}")
def report(
    request: Request,
    course_id: int,
    session: Reading,
    catalogue: CatalogueHere,
    now: Now,
    term: Annotated[int | None, Query()] = None,
    leaf: ReportLeaf = ReportLeaf.OUTCOMES,
) -> Response:
    """Show a leaf of the report of a course in one term, the newest if none is named."""
    found = read_report(
        session,
        catalogue,
        course_id,
        term,
        most_terms=TERMS if leaf is ReportLeaf.TREND else 1,
        closer=leaf not in (ReportLeaf.OUTCOMES, ReportLeaf.TREND),
    )
    return page(request, "reports/report.html", **report_context(found, now), leaf=leaf)


def report_context(found: Report, now: datetime) -> dict[str, Any]:
    """Return what the leaves of the report need."""
    return {
        "report": found,
        "course": found.course,
        "term": found.term,
        "drawn": [
            rungs_serving(each.program, (each.mistake.requirement,)) for each in found.mistakes
        ],
        "most": max((max(each.passed_after, default=0) for each in found.exercises), default=0),
        "tables": ReportTable,
        "small": SMALL,
        "enough": ENOUGH,
        "now": now,
        "today": now.date(),
    }


@router.get("/reports/{course_id}/report.csv")
def report_csv(
    course_id: int,
    session: Reading,
    catalogue: CatalogueHere,
    term: Annotated[int | None, Query()] = None,
    table: ReportTable = ReportTable.OUTCOMES,
) -> Response:
    """Show one table of the report."""
    found = read_report(session, catalogue, course_id, term)
    return download(table_of(found, table), _file_name(found, table.value), "csv")


@router.get("/reports/{course_id}/report.xlsx")
def report_xlsx(
    course_id: int,
    session: Reading,
    catalogue: CatalogueHere,
    term: Annotated[int | None, Query()] = None,
) -> Response:
    """Show every table of the report, each on a sheet."""
    found = read_report(session, catalogue, course_id, term)
    return download_xlsx(tables_of(found), _file_name(found, "report"))


@router.get("/reports/{course_id}/work")
def report_work(
    request: Request,
    course_id: int,
    session: Reading,
    database: DatabaseHere,
    catalogue: CatalogueHere,
    visitor: VisitorHere,
    now: Now,
    term: Annotated[int, Query()] = 0,
    exercise: Annotated[str, Query(max_length=100)] = "",
    outcome: Annotated[str, Query(max_length=80)] = "",
    requirement: Annotated[str, Query(max_length=20)] = "",
    section: Annotated[int, Query()] = 0,
    passed: Annotated[int | None, Query()] = None,
) -> Response:
    """Show the submissions that a figure rests on; without names unless the visitor may see them.

    ``passed`` is the number of attempts that passing took, 0 for not passed.
    """
    work = [
        each
        for each in work_of(session, course_id, [term] if term else None)
        if (not exercise or each.exercise == exercise)
        and (not section or each.section_id == section)
        and (passed is None or (each.passed_after or 0) == passed)
    ]
    outcomes, names = outcomes_of(catalogue, (each.exercise for each in work))
    rows = [
        (each, wanted) for each in work if (wanted := _wanted(each, outcomes, outcome, requirement))
    ]
    target = _target(session, course_id, term, outcome)
    shares = reports.shares(work, outcomes).get(outcome, {})
    ids = sorted({each.user_id for each, _ in rows})
    people = _people(session, visitor, ids)
    if people:
        _note_looks(database, now, visitor, {each.section_id for each, _ in rows})
    return page(
        request,
        "reports/work.html",
        course=get_course(session, course_id),
        rows=rows,
        # Without names they have numbers, the same all over the page.
        people={id: people.get(id, f"student {place}") for place, id in enumerate(ids, 1)},
        named=bool(people),
        reached=[(id, share, reports.reaches(share, target)) for id, share in shares.items()],
        target=target,
        sections={each.id: each for each in all_sections(session)},
        about=_about(names.get(outcome, outcome), exercise, requirement, passed),
    )


@router.get("/reports/{course_id}/submissions/{submission_id}")
def report_submission(
    request: Request, course_id: int, submission_id: int, session: Reading, visitor: VisitorHere
) -> Response:
    """Show one submission: its requirements and its program."""
    submission = find_submission(session, submission_id)
    assert submission is not None, "the access rule has found it"
    verdict = submission.verdict
    return page(
        request,
        "reports/submission.html",
        course=get_course(session, course_id),
        submission=submission,
        verdict=verdict_from_json(verdict.document) if verdict else None,
        rungs=rungs_serving(submission.program, ()),
        name=_people(session, visitor, [submission.user_id]).get(submission.user_id, ""),
    )


def _target(session: Session, course_id: int, term_id: int, outcome: str) -> Target:
    """Return the target of an outcome in a term, in the newest if there is no such."""
    terms = [term for term, _ in terms_of(session, course_id)]
    term = next((each for each in terms if each.id == term_id), next(iter(terms), None))
    versions = outcome_versions(session, [course_id])
    return targets_in(versions, term).get(outcome, Target()) if term else Target()


def _wanted(each: Work, outcomes: OutcomeMap, outcome: str, requirement: str) -> list[str]:
    """Return the requirements of this work that the figure is about."""
    by_requirement = outcomes.get(each.exercise, {})
    return [
        name
        for name in each.results
        if (not requirement or name == requirement)
        and (not outcome or outcome in by_requirement.get(name, ()))
    ]


def _about(outcome: str, exercise: str, requirement: str, passed: int | None) -> str:
    """Return what a list of submissions is about, in words."""
    what = outcome or f"{exercise} {requirement}".strip() or "all work"
    if passed is None:
        return what
    if passed == 0:
        return f"{what}: not passed"
    return f"{what}: passed after {passed} {'attempt' if passed == 1 else 'attempts'}"


def _people(session: Session, visitor: Visitor, ids: list[int]) -> dict[int, str]:
    """Return names by id, if the visitor may see them; else none."""
    may = visitor.role is Role.ADMINISTRATOR or get_person(session, visitor.id).sees_names
    return names_of(session, ids) if may else {}


def _note_looks(database: Database, now: datetime, visitor: Visitor, sections: set[int]) -> None:
    """Note section by section who sees grades beside names."""
    with database.write() as session:
        for section_id in sorted(sections):
            note(session, now, visitor.id, Action.SAW_GRADEBOOK, section_id)


def rungs_serving(document: Document, requirements: Collection[str]) -> list[Markup]:
    """Drawings of the rungs that say they serve one of these requirements; of all, if none does."""
    program = from_json(document)
    serving = [n for n, rung in enumerate(program.rungs) if {*requirements} & {*rung.serves}]
    numbers = serving or range(len(program.rungs))
    return [Markup(draw_rung(program.rungs[n], program, n, width=WIDTH)) for n in numbers]


def _file_name(found: Report, what: str) -> str:
    return "-".join([found.course.code, *([found.term.name] if found.term else []), what])


def change(number: float | None) -> str:
    """Return a change between two shares in points of per cent: +4, 0, -12; a dash for none."""
    if number is None:
        return "–"
    points = round(100 * number)
    return f"{points:+d}".replace("-", "\N{MINUS SIGN}") if points else "0"


def signed(number: float | None) -> str:
    """Return two digits, as item analysis is printed: .71, -.12; a dash for none."""
    if number is None:
        return "–"
    text = f"{number:.2f}".replace("-", "\N{MINUS SIGN}")
    return text.replace("0.", ".", 1) if abs(number) < 1 else text


environment.filters |= {"signed": signed, "change": change}
