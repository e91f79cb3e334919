"""The department's report: outcomes, requirements, mistakes, and down to the submissions."""

from typing import Annotated

from fastapi import APIRouter, Form, Query, Request
from markupsafe import Markup
from sqlalchemy import select
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from server.ladder.drawing import draw_rung
from server.ladder.json_form import from_json
from server.marking.files.catalogue import Catalogue
from server.marking.verdict_form import from_json as verdict_from_json
from server.store import reports
from server.store.attempts import Submission
from server.store.courses import Course, Section, all_sections
from server.store.people import Role, User
from server.store.reports import OutcomeMap, Work
from server.store.statistics import SMALL, band
from server.store.submissions import find_submission
from server.store.targets import Target, set_target, targets_of
from server.web.access import Visitor, VisitorHere
from server.web.dependencies import CatalogueHere, Now, Reading, Writing
from server.web.rendering import environment, error, page
from server.web.spreadsheet import Cell, Kind, Share, Table, download

router = APIRouter()

WIDTH = 440
"""Of a rung beside others, in pixels."""


@router.get("/reports")
def report_list(request: Request, session: Reading, now: Now) -> Response:
    courses = session.scalars(select(Course).order_by(Course.code)).all()
    return page(request, "reports/list.html", courses=courses, now=now)


@router.get("/reports/{course_id}")
def report(
    request: Request,
    course_id: int,
    session: Reading,
    catalogue: CatalogueHere,
    now: Now,
    term: Annotated[int | None, Query()] = None,
) -> Response:
    """The report of a course in one term, the newest if none is named."""
    course = session.get_one(Course, course_id)
    terms = reports.terms_of(session, course_id)
    here = next((each for each in terms if each.id == term), terms[0] if terms else None)
    # This term and the one before it, with which it is compared.
    shown = terms[terms.index(here) :][:2] if here else []
    work_in = {each.id: reports.work_of(session, course_id, each.id) for each in shown}
    in_term = work_in[here.id] if here else []
    outcomes, names = outcomes_of(catalogue, [work for each in work_in.values() for work in each])
    targets = targets_of(session, course_id)
    sections = [s for s in all_sections(session) if here and s.course_id == course_id]
    by_section = [
        (section, reports.attainment(_in_section(in_term, section), outcomes, targets))
        for section in sections
        if here and section.term_id == here.id
    ]
    by_term = [(each, reports.attainment(work_in[each.id], outcomes, targets)) for each in shown]
    return page(
        request,
        "reports/report.html",
        course=course,
        term=here,
        terms=terms,
        names=names,
        overall=reports.attainment(in_term, outcomes, targets),
        by_section=by_section,
        by_term=by_term,
        exercises=reports.exercise_reports(in_term),
        lab_set=reports.lab_set_reliability(in_term),
        mistakes=[(m, _example(session, m)) for m in reports.commonest_mistakes(in_term)],
        students=len({each.user_id for each in in_term}),
        small=SMALL,
        now=now,
    )


@router.post("/reports/{course_id}/targets")
def set_targets(
    request: Request,
    course_id: int,
    session: Writing,
    outcome: Annotated[str, Form(max_length=80)] = "",
    level: Annotated[int, Form()] = 70,
    share: Annotated[int, Form()] = 80,
) -> Response:
    """What the department wants reached of one outcome, in per cent."""
    if not outcome or not (0 <= level <= 100 and 0 <= share <= 100):
        return error(request, 422, "A target needs two numbers from 0 to 100. Correct them.")
    set_target(session, course_id, outcome, Target(level / 100, share / 100))
    return RedirectResponse(f"/reports/{course_id}#targets", 303)


@router.get("/reports/{course_id}/outcomes.csv")
def report_csv(course_id: int, session: Reading, catalogue: CatalogueHere) -> Response:
    return _file(session, catalogue, course_id, "csv")


@router.get("/reports/{course_id}/outcomes.xlsx")
def report_xlsx(course_id: int, session: Reading, catalogue: CatalogueHere) -> Response:
    return _file(session, catalogue, course_id, "xlsx")


@router.get("/reports/{course_id}/work")
def report_work(
    request: Request,
    course_id: int,
    session: Reading,
    catalogue: CatalogueHere,
    visitor: VisitorHere,
    term: Annotated[int, Query()] = 0,
    exercise: Annotated[str, Query(max_length=100)] = "",
    outcome: Annotated[str, Query(max_length=80)] = "",
    requirement: Annotated[str, Query(max_length=20)] = "",
    section: Annotated[int, Query()] = 0,
) -> Response:
    """The submissions that a figure rests on; without names unless the visitor may see them."""
    work = reports.work_of(session, course_id, term or None)
    outcomes, names = outcomes_of(catalogue, work)
    rows = [
        (each, wanted)
        for each in work
        if (not exercise or each.exercise == exercise)
        and (not section or each.section_id == section)
        and (wanted := _wanted(each, outcomes, outcome, requirement))
    ]
    return page(
        request,
        "reports/work.html",
        course=session.get_one(Course, course_id),
        rows=rows,
        people=_people(session, visitor, [each.user_id for each, _ in rows]),
        sections={each.id: each for each in all_sections(session)},
        about=names.get(outcome, outcome) or f"{exercise} {requirement}".strip() or "all work",
    )


@router.get("/reports/{course_id}/submissions/{submission_id}")
def report_submission(
    request: Request, course_id: int, submission_id: int, session: Reading, visitor: VisitorHere
) -> Response:
    """One submission: its requirements and its program."""
    submission = find_submission(session, submission_id)
    assert submission is not None, "the access rule has found it"
    verdict = submission.verdict
    return page(
        request,
        "reports/submission.html",
        course=session.get_one(Course, course_id),
        submission=submission,
        verdict=verdict_from_json(verdict.document) if verdict else None,
        rungs=_rungs(submission, ""),
        name=_people(session, visitor, [submission.user_id]).get(submission.user_id, ""),
    )


def outcomes_of(catalogue: Catalogue, work: list[Work]) -> tuple[OutcomeMap, dict[str, str]]:
    """Outcomes by exercise and requirement, and what each outcome says."""
    mapping: dict[str, dict[str, tuple[str, ...]]] = {}
    names: dict[str, str] = {}
    for slug in {each.exercise for each in work}:
        exercise = catalogue.find(slug)
        if exercise is not None:
            mapping[slug] = {each.id: each.outcomes for each in exercise.requirements}
            names |= exercise.outcomes
    return mapping, names


def _wanted(each: Work, outcomes: OutcomeMap, outcome: str, requirement: str) -> list[str]:
    """The requirements of this work that the figure is about."""
    by_requirement = outcomes.get(each.exercise, {})
    return [
        name
        for name in each.results
        if (not requirement or name == requirement)
        and (not outcome or outcome in by_requirement.get(name, ()))
    ]


def _in_section(work: list[Work], section: Section) -> list[Work]:
    return [each for each in work if each.section_id == section.id]


def _people(session: Session, visitor: Visitor, ids: list[int]) -> dict[int, str]:
    """Names by id, if the visitor may see them; else none."""
    may = visitor.role is Role.ADMINISTRATOR or session.get_one(User, visitor.id).sees_names
    if not may:
        return {}
    rows = session.execute(select(User.id, User.listed_as).where(User.id.in_(set(ids))))
    return dict(rows.all())


def _example(session: Session, mistake: reports.Mistake) -> tuple[str, list[Markup]]:
    """What the verdict says of the example, and the rungs that serve the requirement."""
    submission = find_submission(session, mistake.example)
    if submission is None or submission.verdict is None:
        return "", []
    told = verdict_from_json(submission.verdict.document).requirements
    sentence = next((each.sentence for each in told if each.id == mistake.requirement), "")
    return sentence, _rungs(submission, mistake.requirement)


def _rungs(submission: Submission, requirement: str) -> list[Markup]:
    """Drawings of the rungs that say they serve a requirement; of all, if none does."""
    program = from_json(submission.program)
    serving = [n for n, rung in enumerate(program.rungs) if requirement in rung.serves]
    numbers = serving or range(len(program.rungs))
    return [Markup(draw_rung(program.rungs[n], program, n, width=WIDTH)) for n in numbers]


def _file(session: Session, catalogue: Catalogue, course_id: int, kind: Kind) -> Response:
    course = session.get_one(Course, course_id)
    work = reports.work_of(session, course_id)
    outcomes, names = outcomes_of(catalogue, work)
    targets = targets_of(session, course_id)
    rows: list[tuple[Cell, ...]] = []
    for section in all_sections(session):
        if section.course_id != course_id:
            continue
        for found in reports.attainment(_in_section(work, section), outcomes, targets).values():
            rows.append(
                (
                    section.term.name,
                    section.number,
                    names.get(found.outcome, found.outcome),
                    found.students,
                    found.reached,
                    Share(found.share),
                    Share(found.target.level),
                    Share(found.target.share),
                    "yes" if found.on_target else "no",
                )
            )
    columns = ("Term", "Section", "Outcome", "Students", "Reached", "Share", "Level", "Target")
    table = Table("Outcomes", (*columns, "On target"), tuple(rows))
    return download(table, f"{course.code}-outcomes", kind)


def signed(number: float | None) -> str:
    """Two digits, as item analysis is printed: .71, -.12; a dash for none."""
    if number is None:
        return "–"
    text = f"{number:.2f}".replace("-", "\N{MINUS SIGN}")
    return text.replace("0.", ".", 1) if abs(number) < 1 else text


environment.filters |= {"signed": signed, "band": band}
