"""The JSON that the API answers with. Fields are added, never renamed or taken away, in /api/v1."""

from datetime import datetime

from pydantic import BaseModel


class AssignmentData(BaseModel):
    """An exercise as it is set for a section; ``weight`` is its part in the section's share."""

    id: int
    exercise: str
    title: str
    opens_at: datetime
    due_at: datetime
    weight: float


class SectionData(BaseModel):
    """A section that the token's owner teaches or, for an administrator, any section."""

    id: int
    course: str
    course_id: int
    number: str
    term: str
    assignments: list[AssignmentData]


class PersonData(BaseModel):
    """Somebody in a section, and their role there."""

    id: int
    email: str
    name: str
    listed_as: str
    role: str
    student_number: str | None


class WorkData(BaseModel):
    """How a student stands with one assignment.

    ``points`` is what counts, after the late policy or as set by hand (``set_by_hand``); null where
    nothing counts yet or the student is ``excused``. ``due_at`` is the student's own due date.
    ``requirements`` has a status by requirement, of the attempt that counts;
    ``requirements_set_by_hand`` are those that a teacher has set.
    """

    assignment_id: int
    attempts: int
    points: float | None
    max_points: float | None
    days_late: int
    missing: bool
    due_at: datetime
    set_by_hand: bool
    excused: bool
    submitted_at: datetime | None
    requirements: dict[str, str]
    requirements_set_by_hand: list[str]


class StudentData(BaseModel):
    """A student's row of the gradebook; ``share`` is 0 to 1, null where nothing counts yet."""

    id: int
    email: str
    name: str
    student_number: str | None
    incomplete: bool
    share: float | None
    work: list[WorkData]


class GradebookData(BaseModel):
    section_id: int
    assignments: list[AssignmentData]
    students: list[StudentData]


class OutcomeData(BaseModel):
    """How many of ``students`` reached an outcome; ``target`` is the share that should."""

    outcome: str
    text: str
    students: int
    reached: int
    target: float


class RequirementFigures(BaseModel):
    """How many of ``students`` met a requirement; of ``set_by_hand`` a teacher set the result."""

    requirement: str
    students: int
    met: int
    set_by_hand: int


class ExerciseFigures(BaseModel):
    exercise: str
    title: str
    students: int
    not_passed: int
    requirements: list[RequirementFigures]


class ReportData(BaseModel):
    """A course in one term, without names."""

    course_id: int
    term_id: int | None
    term: str | None
    students: int
    outcomes: list[OutcomeData]
    exercises: list[ExerciseFigures]


class RequirementData(BaseModel):
    id: str
    text: str
    points: int
    outcomes: list[str]


class ExerciseData(BaseModel):
    """A shipped exercise; hidden scenarios are no part of it."""

    slug: str
    title: str
    version: int
    summary: str
    requirements: list[RequirementData]
