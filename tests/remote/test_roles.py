"""What the roles of a platform's course are here (LTI Core 1.3, appendix A.2; from memory)."""

import pytest

from server.remote.roles import TEST_USER, reason_of_refusal, role_of
from server.store.courses import SectionRole

M = "http://purl.imsglobal.org/vocab/lis/v2/membership"
STAFF = "http://purl.imsglobal.org/vocab/lis/v2/institution/person#Staff"


@pytest.mark.parametrize(
    ("roles", "role"),
    [
        ([f"{M}#Learner"], SectionRole.STUDENT),
        ([f"{M}/Learner#GuestLearner"], SectionRole.STUDENT),
        ([f"{M}/Learner#NonCreditLearner", STAFF], SectionRole.STUDENT),
        (["Learner"], SectionRole.STUDENT),
        ([f"{M}#Instructor"], SectionRole.INSTRUCTOR),
        ([f"{M}/Instructor#PrimaryInstructor"], SectionRole.INSTRUCTOR),
        ([f"{M}#Instructor", f"{M}/Instructor#GuestInstructor"], SectionRole.INSTRUCTOR),
        ([f"{M}#Instructor", f"{M}#Learner"], SectionRole.INSTRUCTOR),
        (["Instructor"], SectionRole.INSTRUCTOR),
        ([f"{M}/Instructor#Grader"], SectionRole.GRADER),
        ([f"{M}#Instructor", f"{M}/Instructor#TeachingAssistant"], SectionRole.GRADER),
        ([f"{M}/Instructor#TeachingAssistantSection", f"{M}#Learner"], SectionRole.GRADER),
        ([f"{M}/Instructor#TeachingAssistantTemplate"], SectionRole.GRADER),
        (
            [f"{M}/Instructor#PrimaryInstructor", f"{M}/Instructor#Grader"],
            SectionRole.INSTRUCTOR,
        ),
        ([f"{M}#Learner", TEST_USER], SectionRole.TESTER),
        ([f"{M}#Mentor"], None),
        ([f"{M}#Administrator"], None),
        ([f"{M}/Administrator#Support"], None),
        ([f"{M}#ContentDeveloper"], None),
        ([STAFF], None),
        (["http://purl.imsglobal.org/vocab/lis/v2/institution/person#Instructor"], None),
        ([f"{M}#Learners"], None),
        ([], None),
    ],
)
def test_a_role_of_the_course_is_a_role_of_the_section(
    roles: list[str], role: SectionRole | None
) -> None:
    assert role_of(roles) is role


@pytest.mark.parametrize(
    ("roles", "words"),
    [
        ([f"{M}#Mentor"], "as an observer of the course"),
        ([f"{M}/Mentor#Advisor"], "as an observer of the course"),
        ([f"{M}#Administrator"], "as an administrator of the course"),
        ([f"{M}#Member"], "neither learner nor instructor"),
        ([], "neither learner nor instructor"),
    ],
)
def test_who_is_not_admitted_is_told_why(roles: list[str], words: str) -> None:
    assert words in reason_of_refusal(roles)
