"""The routes of the API. Each reads with a token; ``access.RULES`` has the scope of each."""

from typing import Annotated, Any

from fastapi import APIRouter, HTTPException, Query
from fastapi.openapi.utils import get_openapi

from server.store.courses import (
    TEACHING,
    Assignment,
    all_sections,
    assignments_of,
    find_section,
    sections_of,
)
from server.store.gradebook import Standing, section_book
from server.store.people import Role
from server.store.roster import people_of
from server.web.access import VisitorHere
from server.web.api.forms import (
    AssignmentData,
    ExerciseData,
    ExerciseFigures,
    GradebookData,
    OutcomeData,
    PersonData,
    ReportData,
    RequirementData,
    RequirementFigures,
    SectionData,
    StudentData,
    WorkData,
)
from server.web.dependencies import CatalogueHere, Now, Reading
from server.web.reports.figures import read_report

router = APIRouter(prefix="/api/v1")


@router.get("/sections")
def api_sections(session: Reading, visitor: VisitorHere) -> list[SectionData]:
    """List the sections that the token's owner teaches, or all, with what is set in them."""
    if visitor.role is Role.ADMINISTRATOR:
        found = all_sections(session)
    else:
        found = [each for each, role in sections_of(session, visitor.id) if role in TEACHING]
    set_here = assignments_of(session, [section.id for section in found])
    return [
        SectionData(
            id=section.id,
            course=section.course.code,
            course_id=section.course_id,
            number=section.number,
            term=section.term.name,
            assignments=[_assignment(each) for each in set_here if each.section_id == section.id],
        )
        for section in found
    ]


@router.get("/sections/{section_id}/roster")
def api_roster(section_id: int, session: Reading) -> list[PersonData]:
    """List everybody in a section: teachers first, then by name."""
    return [
        PersonData(
            id=user.id,
            email=user.email,
            name=user.name,
            listed_as=user.listed_as,
            role=enrolment.role.value,
            student_number=user.student_number,
        )
        for user, enrolment in people_of(session, section_id)
    ]


@router.get("/sections/{section_id}/gradebook")
def api_gradebook(section_id: int, session: Reading, now: Now) -> GradebookData:
    """Return each student's standing in everything that is set for a section."""
    section = find_section(session, section_id)
    assert section is not None, "the access rule has found it"
    book = section_book(session, section, now)
    return GradebookData(
        section_id=section_id,
        assignments=[_assignment(each) for each in book.assignments],
        students=[
            StudentData(
                id=row.student.id,
                email=row.student.email,
                name=row.student.name,
                student_number=row.student.student_number,
                incomplete=row.enrolment.incomplete,
                share=row.share,
                work=[
                    _work(assignment, standing, missing=standing.missing(assignment, now))
                    for assignment, standing in zip(book.assignments, row.standings, strict=True)
                ],
            )
            for row in book.rows
        ],
    )


@router.get("/courses/{course_id}/report")
def api_report(
    course_id: int,
    session: Reading,
    catalogue: CatalogueHere,
    term: Annotated[int | None, Query()] = None,
) -> ReportData:
    """Return the figures of a course in one term, the newest if none is named. No names."""
    found = read_report(session, catalogue, course_id, term)
    if term is not None and found.term is None:
        raise HTTPException(404)
    return ReportData(
        course_id=course_id,
        term_id=found.term.id if found.term else None,
        term=found.term.name if found.term else None,
        students=found.students,
        outcomes=[
            OutcomeData(
                outcome=name,
                text=found.names.get(name, ""),
                students=each.students,
                reached=each.reached,
                target=each.target.share,
            )
            for name, each in found.overall.items()
        ],
        exercises=[
            ExerciseFigures(
                exercise=each.exercise,
                title=each.title,
                students=each.students,
                not_passed=each.not_passed,
                requirements=[
                    RequirementFigures(
                        requirement=item.requirement,
                        students=item.students,
                        met=item.met,
                        set_by_hand=item.by_hand,
                    )
                    for item in each.items
                ],
            )
            for each in found.exercises
        ],
    )


@router.get("/exercises")
def api_exercises(catalogue: CatalogueHere) -> list[ExerciseData]:
    """List the exercises that come with the server, in teaching order."""
    return [
        ExerciseData(
            slug=each.slug,
            title=each.title,
            version=each.version,
            summary=each.summary,
            requirements=[
                RequirementData(
                    id=requirement.id,
                    text=requirement.text,
                    points=requirement.weight,
                    outcomes=list(requirement.outcomes),
                )
                for requirement in each.requirements
            ],
        )
        for each in catalogue.shipped()
    ]


def describe_api() -> dict[str, Any]:
    """Return the OpenAPI document of the routes above."""
    document = get_openapi(
        title="Rungmark",
        version="1",
        description="Read with a token: Authorization: Bearer TOKEN.",
        routes=router.routes,
    )
    document["components"]["securitySchemes"] = {"token": {"type": "http", "scheme": "bearer"}}
    document["security"] = [{"token": []}]
    return document


def _assignment(found: Assignment) -> AssignmentData:
    return AssignmentData(
        id=found.id,
        exercise=found.exercise,
        title=found.title,
        opens_at=found.opens_at,
        due_at=found.due_at,
        weight=found.weight,
    )


def _work(assignment: Assignment, standing: Standing, *, missing: bool) -> WorkData:
    return WorkData(
        assignment_id=assignment.id,
        attempts=standing.attempts,
        points=standing.points,
        max_points=standing.max_score,
        days_late=standing.days_late,
        missing=missing,
        due_at=standing.due_at or assignment.due_at,
        set_by_hand=standing.override is not None,
        excused=standing.excuse is not None,
        submitted_at=standing.submitted_at,
        requirements={name: status.value for name, status in standing.results.items()},
        requirements_set_by_hand=list(standing.by_hand),
    )
