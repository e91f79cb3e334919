"""What a platform's roles are here.

LTI Core 1.3, appendix A.2 'Role vocabularies' (from memory): a role of the context is a principal
role (``membership#Learner``) or a sub-role of it (``membership/Learner#GuestLearner``), which a
platform may send with or without its principal role. Simple names are older short forms, which are
permitted for roles of the context only.
"""

from collections.abc import Collection

from server.store.courses import SectionRole

_MEMBERSHIP = "http://purl.imsglobal.org/vocab/lis/v2/membership"
TEST_USER = "http://purl.imsglobal.org/vocab/lti/system/person#TestUser"

_HELPS = ("Grader", "TeachingAssistant")
"""Sub-roles of Instructor that help with the marking; the second one has further forms."""

_NOT_ADMITTED = {
    "Mentor": "You come as an observer of the course. What its students do is between them and "
    "their instructor here; ask the instructor.",
    "Administrator": "You come as an administrator of the course in the LMS. Here its instructor "
    "runs the section; ask to be added to the course as instructor to see it.",
}
_OTHER = (
    "Your role in the LMS's course is neither learner nor instructor, so there is nothing for it "
    "here. Ask for another role in that course."
)


def role_of(roles: Collection[str]) -> SectionRole | None:
    """Return what somebody with these roles is in the section, None if nothing.

    Who teaches and learns in one course teaches. An instructor who is named as nothing but an
    assistant helps with the marking.
    """
    if TEST_USER in roles:
        return SectionRole.TESTER
    subs = _sub_roles(roles, "Instructor")
    if subs and all(sub.startswith(_HELPS) for sub in subs):
        return SectionRole.GRADER
    if subs or _has(roles, "Instructor"):
        return SectionRole.INSTRUCTOR
    if _has(roles, "Learner"):
        return SectionRole.STUDENT
    return None


def reason_of_refusal(roles: Collection[str]) -> str:
    """Return one sentence for who is not admitted with these roles."""
    for principal, sentence in _NOT_ADMITTED.items():
        if _has(roles, principal):
            return sentence
    return _OTHER


def _has(roles: Collection[str], principal: str) -> bool:
    whole = principal in roles or f"{_MEMBERSHIP}#{principal}" in roles
    return whole or bool(_sub_roles(roles, principal))


def _sub_roles(roles: Collection[str], principal: str) -> list[str]:
    prefixes = (f"{_MEMBERSHIP}/{principal}#", f"{principal}#")
    return [
        role.removeprefix(prefix)
        for role in roles
        for prefix in prefixes
        if role.startswith(prefix)
    ]
