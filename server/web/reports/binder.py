"""The binder: everything that a review of the course asks for, as one printed set."""

import hashlib
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Form, Query, Request
from markupsafe import Markup
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from server.marking.verdict import RequirementVerdict
from server.marking.verdict_form import from_json as verdict_from_json
from server.store import reports
from server.store.audit import note
from server.store.audit_chain import Action
from server.store.people import get_person
from server.store.report_work import work_of
from server.store.reports import OutcomeSample
from server.store.signatures import (
    MAX_CAPACITY,
    MAX_REMARKS,
    ReportSignature,
    sign_report,
    signatures_of,
)
from server.store.submissions import programs_of, verdicts_of
from server.web.access import VisitorHere
from server.web.dependencies import CatalogueHere, DatabaseHere, Now, Reading
from server.web.rendering import page
from server.web.reports.figures import Report, outcomes_of, read_report
from server.web.reports.pages import report_context, rungs_serving
from server.web.reports.tables import tables_of
from server.web.spreadsheet import csv_of

router = APIRouter()


@dataclass(frozen=True, slots=True)
class ShownSample:
    """One submission as evidence: what its verdict says of an outcome, and the rungs that serve."""

    chosen: OutcomeSample
    results: Sequence[RequirementVerdict]
    rungs: Sequence[Markup]


@router.get("/reports/{course_id}/binder")
def binder(
    request: Request,
    course_id: int,
    session: Reading,
    catalogue: CatalogueHere,
    now: Now,
    term: Annotated[int | None, Query()] = None,
) -> Response:
    """Show targets, figures, samples without names, actions and signatures for print."""
    report = read_report(session, catalogue, course_id, term)
    here = report.term.id if report.term else 0
    return page(
        request,
        "reports/binder.html",
        **report_context(report, now),
        samples=_samples(session, report, outcomes_of(catalogue, _exercises(report))[0]),
        signatures=signatures_of(session, course_id, here),
        figures=figures_hash(report),
        reader=get_person(session, request.state.visitor.id).name,
    )


@router.post("/reports/{course_id}/signatures")
def sign(
    course_id: int,
    database: DatabaseHere,
    catalogue: CatalogueHere,
    visitor: VisitorHere,
    now: Now,
    term: Annotated[int, Form()] = 0,
    capacity: Annotated[str, Form(max_length=MAX_CAPACITY)] = "",
    remarks: Annotated[str, Form(max_length=MAX_REMARKS)] = "",
) -> Response:
    """Sign the figures of a term as they are now, under the visitor's own name."""
    with database.read() as session:
        report = read_report(session, catalogue, course_id, term)
        name = get_person(session, visitor.id).name
    if report.term is not None and report.term.id == term and report.overall:
        row = ReportSignature(
            course_id=course_id,
            term_id=term,
            by_id=visitor.id,
            name=name,
            capacity=capacity.strip(),
            remarks=remarks.strip(),
            figures=figures_hash(report),
            at=now,
        )
        with database.write() as session:
            sign_report(session, row)
            detail = f"signed {report.course.code}, {report.term.name}"
            note(session, now, visitor.id, Action.CHANGED_OUTCOMES, detail=detail)
    return RedirectResponse(f"/reports/{course_id}/binder?term={term}#signatures", 303)


def figures_hash(report: Report) -> str:
    """Return a hash of the figures, by which a later change of them shows.

    Actions are left out: a result that is entered later changes no figure.
    """
    tables = b"".join(csv_of(each) for each in tables_of(report) if each.title != "Actions")
    return hashlib.sha256(tables).hexdigest()


def _exercises(report: Report) -> list[str]:
    return [each.exercise for each in report.exercises]


def _samples(
    session: Session, report: Report, outcomes: reports.OutcomeMap
) -> Mapping[str, Sequence[ShownSample]]:
    """Return up to three samples of each outcome: below, at and above the level."""
    if report.term is None:
        return {}
    work = work_of(session, report.course.id, [report.term.id])
    targets = {outcome: found.target for outcome, found in report.overall.items()}
    chosen = reports.outcome_samples(work, outcomes, targets)
    ids = [each.submission_id for each in chosen]
    programs, verdicts = programs_of(session, ids), verdicts_of(session, ids)
    found: dict[str, list[ShownSample]] = defaultdict(list)
    for each in chosen:
        results = verdict_from_json(verdicts[each.submission_id]).requirements
        about = [result for result in results if result.id in each.requirements]
        rungs = rungs_serving(programs[each.submission_id], each.requirements)
        found[each.outcome].append(ShownSample(each, about, rungs))
    return found
