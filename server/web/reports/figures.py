"""All figures of the report on a course in one term, read once for the page and its files."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from server.marking.files.catalogue import Catalogue
from server.marking.verdict_form import from_json as verdict_from_json
from server.store import reports
from server.store.courses import Course, Section, Term, all_sections, get_course
from server.store.database import Document
from server.store.outcome_actions import OutcomeAction, actions_of
from server.store.outcomes import (
    OutcomeVersion,
    in_force,
    outcome_versions,
    targets_in,
)
from server.store.report_work import Work, terms_of, work_of
from server.store.reports import Attainment, ExerciseReport, LabSet, Mistake, OutcomeMap
from server.store.submissions import programs_of, verdicts_of

TERMS = 6
"""Terms that are shown beside each other at most, the chosen one the last of them."""

Attained = Mapping[str, Attainment]
"""By outcome."""


@dataclass(frozen=True, slots=True)
class Example:
    """A submission that shows a mistake, and what its verdict says of it."""

    mistake: Mistake
    sentence: str
    program: Document


@dataclass(frozen=True, slots=True)
class Report:
    """A course in one term.

    ``terms`` are all that have sections, the newest first; ``by_term`` begins with the oldest that
    is shown and ends with ``term``. ``names`` says what each outcome is; ``listed`` are those of
    the catalogue as they hold in the term, ``actions`` what is done in any term.
    """

    course: Course
    term: Term | None
    terms: Sequence[Term]
    names: Mapping[str, str]
    students: int
    exercise_count: int
    by_section: Sequence[tuple[Section, Attained]]
    by_term: Sequence[tuple[Term, Attained]]
    exercises: Sequence[ExerciseReport]
    lab_set: LabSet
    mistakes: Sequence[Example]
    listed: Mapping[str, OutcomeVersion]
    actions: Sequence[OutcomeAction]

    @property
    def overall(self) -> Attained:
        """All sections of the term together."""
        return self.by_term[-1][1] if self.by_term else {}

    @property
    def not_assessed(self) -> list[OutcomeVersion]:
        """Outcomes of the catalogue that no marked work of the term tells anything of."""
        return [each for outcome, each in self.listed.items() if outcome not in self.overall]

    def actions_on(self, outcome: str) -> list[OutcomeAction]:
        return [each for each in self.actions if each.outcome == outcome]

    def later(self, action: OutcomeAction) -> list[tuple[Term, Attainment]]:
        """Return the figures of the terms shown that came after an action's finding."""
        return [
            (term, reached[action.outcome])
            for term, reached in self.by_term
            if term.begins > action.term.begins and action.outcome in reached
        ]

    def change(self, outcome: str) -> float | None:
        """Return how much more students reached it than in the term before, if both are known."""
        shares = [reached[outcome].share for _, reached in self.by_term[-2:] if outcome in reached]
        return shares[1] - shares[0] if len(shares) == 2 else None


def read_report(
    session: Session,
    catalogue: Catalogue,
    course_id: int,
    term_id: int | None,
    *,
    most_terms: int = TERMS,
    closer: bool = True,
) -> Report:
    """Return the report in this term; if the course has no such term, in the newest with work.

    ``most_terms`` stand beside each other at most. Unless ``closer``, it has no figures of single
    exercises and no mistakes.
    """
    found = terms_of(session, course_id)
    terms = [term for term, _ in found]
    with_work = [term for term, has_work in found if has_work]
    chosen = [term for term in terms if term.id == term_id]
    here = next(iter((*chosen, *with_work, *terms)), None)
    shown = terms[terms.index(here) :][:most_terms] if here else []
    work = work_of(session, course_id, [each.id for each in shown])
    by_term: dict[int, list[Work]] = defaultdict(list)
    for each in work:
        by_term[each.term_id].append(each)
    in_term = by_term[here.id] if here else []
    looked_at = in_term if closer else []
    by_section: dict[int, list[Work]] = defaultdict(list)
    for each in in_term:
        by_section[each.section_id].append(each)
    outcomes, names = outcomes_of(catalogue, (each.exercise for each in work))
    versions = outcome_versions(session, [course_id])
    listed = (
        {o: each for o, each in in_force(versions, here).items() if each.listed} if here else {}
    )
    names |= {outcome: each.statement for outcome, each in listed.items()}

    def attained(part: Sequence[Work], term: Term) -> Attained:
        found = reports.attainment(part, outcomes, targets_in(versions, term))
        # What only exercises know stands apart, below the catalogue.
        return dict(sorted(found.items(), key=lambda each: each[0] not in listed))

    return Report(
        course=get_course(session, course_id),
        term=here,
        terms=terms,
        names=names,
        students=len({each.user_id for each in in_term}),
        exercise_count=len({each.exercise for each in in_term}),
        by_section=[
            (section, attained(by_section[section.id], here))
            for section in all_sections(session)
            if here and (section.course_id, section.term_id) == (course_id, here.id)
        ],
        by_term=[(term, attained(by_term[term.id], term)) for term in reversed(shown)],
        exercises=reports.exercise_reports(looked_at),
        lab_set=reports.lab_set(looked_at),
        mistakes=_examples(session, reports.commonest_mistakes(looked_at)),
        listed=listed,
        actions=actions_of(session, course_id),
    )


def outcomes_of(
    catalogue: Catalogue, exercises: Iterable[str]
) -> tuple[OutcomeMap, dict[str, str]]:
    """Outcomes by exercise and requirement, and what each outcome says."""
    mapping: dict[str, dict[str, tuple[str, ...]]] = {}
    names: dict[str, str] = {}
    for slug in sorted(set(exercises)):
        exercise = catalogue.find(slug)
        if exercise is not None:
            mapping[slug] = {each.id: each.outcomes for each in exercise.requirements}
            names |= exercise.outcomes
    return mapping, names


def _examples(session: Session, mistakes: Sequence[Mistake]) -> list[Example]:
    ids = [each.example for each in mistakes]
    programs, verdicts = programs_of(session, ids), verdicts_of(session, ids)
    found = []
    for mistake in mistakes:
        results = verdict_from_json(verdicts[mistake.example]).requirements
        sentence = next((each.sentence for each in results if each.id == mistake.requirement), "")
        found.append(Example(mistake, sentence, programs[mistake.example]))
    return found
