"""Figures for the department: outcomes, requirements, attempts, mistakes.

They rest on what was marked, requirement by requirement, and on results that a teacher has set,
which are counted beside them. Points set for a whole exercise do not enter: they say nothing of
single requirements.
"""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from server.marking.verdict import Status
from server.store.outcomes import Target
from server.store.report_work import Work
from server.store.statistics import (
    ENOUGH,
    SMALL,
    alpha,
    band,
    corrected_item_total,
    difficulty,
    discrimination,
)

OutcomeMap = Mapping[str, Mapping[str, Sequence[str]]]
"""Outcomes by exercise and requirement."""


@dataclass(frozen=True, slots=True)
class Attainment:
    """How many of ``students`` reached an outcome; ``by_hand`` have results that a teacher set."""

    outcome: str
    students: int
    reached: int
    target: Target
    by_hand: int = 0

    @property
    def share(self) -> float:
        return self.reached / self.students if self.students else 0.0

    @property
    def on_target(self) -> bool:
        return self.share >= self.target.share

    @property
    def small(self) -> bool:
        """So few students that each of them moves the figure."""
        return self.students < SMALL


@dataclass(frozen=True, slots=True)
class Item:
    """One requirement of an exercise as an item; correlations are None where nothing varies.

    Of ``by_hand`` students a teacher has set the result.
    """

    requirement: str
    students: int
    met: int
    difficulty: float
    discrimination: float
    corrected: float | None
    by_hand: int = 0

    @property
    def says(self) -> str:
        """What the discrimination says; where all or none meet it, it can say nothing."""
        if self.met in (0, self.students):
            return "met by all" if self.met else "met by none"
        return band(self.discrimination)


@dataclass(frozen=True, slots=True)
class ExerciseReport:
    """The requirements of one exercise, and how its students fared.

    ``reliability`` is None for fewer than ``ENOUGH`` students, or where nothing varies.
    ``passed_after`` has how many students passed, by the number of attempts it took.
    """

    exercise: str
    title: str
    students: int
    items: tuple[Item, ...]
    reliability: float | None
    passed_after: Mapping[int, int]

    @property
    def not_passed(self) -> int:
        return self.students - sum(self.passed_after.values())

    @property
    def small(self) -> bool:
        return self.students < SMALL


@dataclass(frozen=True, slots=True)
class LabSet:
    """Reliability over the exercises, and how many students and exercises it rests on."""

    alpha: float | None
    students: int
    exercises: int


@dataclass(frozen=True, slots=True)
class Mistake:
    """A requirement that often is not met, and a submission that shows it."""

    exercise: str
    title: str
    requirement: str
    students: int
    of: int
    example: int


def shares(work: Sequence[Work], outcomes: OutcomeMap) -> dict[str, dict[int, float]]:
    """By outcome and student: the share of the outcome's points that counts for them."""
    points: dict[str, dict[int, tuple[float, float]]] = defaultdict(dict)
    # Works with equal results share them, so each kind is added up once.
    known: dict[tuple[str, int], dict[str, tuple[float, float]]] = {}
    for each in work:
        kind = each.exercise, id(each.results)
        if kind not in known:
            known[kind] = _points(each, outcomes.get(each.exercise, {}))
        for outcome, (score, most) in known[kind].items():
            by_student = points[outcome]
            got, out_of = by_student.get(each.user_id, (0.0, 0.0))
            by_student[each.user_id] = got + score, out_of + most
    return {
        outcome: {user: got / most for user, (got, most) in by_student.items() if most}
        for outcome, by_student in sorted(points.items())
    }


def _points(work: Work, outcomes: Mapping[str, Sequence[str]]) -> dict[str, tuple[float, float]]:
    """Return points that a work has of each outcome, and out of how many."""
    found: dict[str, tuple[float, float]] = {}
    for requirement, (_, score, most, *_) in work.results.items():
        assert isinstance(score, float | int)
        assert isinstance(most, float | int)
        for outcome in outcomes.get(requirement, ()):
            got, out_of = found.get(outcome, (0.0, 0.0))
            found[outcome] = got + score, out_of + most
    return found


def reaches(share: float, target: Target) -> bool:
    """Return whether this is the target's level; a share that is it but for rounding is it."""
    return share >= target.level - 1e-9


def attainment(
    work: Sequence[Work], outcomes: OutcomeMap, targets: Mapping[str, Target]
) -> dict[str, Attainment]:
    """By outcome: a student has reached it with the target's level of its points."""
    found = {}
    by_hand = _by_hand(work, outcomes)
    for outcome, by_student in shares(work, outcomes).items():
        target = targets.get(outcome, Target())
        reached = sum(reaches(share, target) for share in by_student.values())
        touched = len(by_hand.get(outcome, ()))
        found[outcome] = Attainment(outcome, len(by_student), reached, target, touched)
    return found


def _by_hand(work: Sequence[Work], outcomes: OutcomeMap) -> dict[str, set[int]]:
    """Return by outcome the students of whom a teacher has set a result that counts for it."""
    found: dict[str, set[int]] = defaultdict(set)
    # As in `shares`: nearly all kinds of results have none by hand.
    known: dict[tuple[str, int], list[str]] = {}
    for each in work:
        kind = each.exercise, id(each.results)
        if kind not in known:
            serving = outcomes.get(each.exercise, {})
            by_hand = filter(each.by_hand, each.results)
            known[kind] = [outcome for one in by_hand for outcome in serving.get(one, ())]
        for outcome in known[kind]:
            found[outcome].add(each.user_id)
    return found


@dataclass(frozen=True, slots=True)
class OutcomeSample:
    """A submission that shows how far a student got with an outcome.

    ``place`` is *Below*, *At* or *Above*, ``share`` the student's share of the outcome's points.
    """

    outcome: str
    place: str
    share: float
    submission_id: int
    title: str
    requirements: tuple[str, ...]


def outcome_samples(
    work: Sequence[Work], outcomes: OutcomeMap, targets: Mapping[str, Target]
) -> list[OutcomeSample]:
    """Return by outcome a student just below its level, one just over it, and the best above.

    Of each, the work with most points of the outcome at stake; ties go to the earliest.
    """
    found = []
    for outcome, by_student in shares(work, outcomes).items():
        target = targets.get(outcome, Target())
        ranked = sorted(by_student.items(), key=lambda each: (each[1], each[0]))
        below = [each for each in ranked if not reaches(each[1], target)]
        reached = ranked[len(below) :]
        above = [each for each in reached if each[1] > reached[0][1] + 1e-9]
        for place, students in (("Below", below[-1:]), ("At", reached[:1]), ("Above", above[-1:])):
            for user_id, share in students:
                own = [each for each in work if each.user_id == user_id]
                stake = [_points(each, outcomes.get(each.exercise, {})) for each in own]
                most = max(range(len(own)), key=lambda n: stake[n].get(outcome, (0.0, 0.0))[1])
                named = tuple(
                    requirement
                    for requirement in own[most].results
                    if outcome in outcomes.get(own[most].exercise, {}).get(requirement, ())
                )
                chosen = own[most].submission_id, own[most].title
                found.append(OutcomeSample(outcome, place, share, *chosen, named))
    return found


def exercise_reports(work: Sequence[Work]) -> list[ExerciseReport]:
    """Return one for each exercise, in the order of the work."""
    by_exercise: dict[str, list[Work]] = defaultdict(list)
    for each in work:
        by_exercise[each.exercise].append(each)
    return [_exercise(own) for own in by_exercise.values()]


def _exercise(work: Sequence[Work]) -> ExerciseReport:
    # Versions of an exercise may differ; items are those that every student met with.
    names = [name for name in work[0].results if all(name in each.results for each in work)]
    rows = [[float(each.met(name)) for name in names] for each in work]
    columns = zip(
        names, difficulty(rows), discrimination(rows), corrected_item_total(rows), strict=True
    )
    items = tuple(
        Item(
            *(name, len(rows), round(p * len(rows)), p, d, r),
            by_hand=sum(each.by_hand(name) for each in work),
        )
        for name, p, d, r in columns
    )
    passed = Counter(each.passed_after for each in work if each.passed_after is not None)
    return ExerciseReport(
        work[0].exercise,
        work[0].title,
        len(work),
        items,
        alpha(rows) if len(rows) >= ENOUGH else None,
        dict(sorted(passed.items())),
    )


def lab_set(work: Sequence[Work]) -> LabSet:
    """Alpha over the exercises' shares.

    Only students who have handed in every exercise that most students have.
    """
    by_student: dict[tuple[int, int], dict[str, float]] = defaultdict(dict)
    for each in work:
        by_student[each.section_id, each.user_id][each.exercise] = each.score / each.max_score
    handed_in = Counter(exercise for own in by_student.values() for exercise in own)
    exercises = [name for name, count in handed_in.items() if count * 2 > len(by_student)]
    rows = [
        [own[name] for name in exercises]
        for own in by_student.values()
        if all(name in own for name in exercises)
    ]
    enough = exercises and len(rows) >= ENOUGH
    return LabSet(alpha(rows) if enough else None, len(rows), len(exercises))


def commonest_mistakes(work: Sequence[Work], most: int = 6) -> list[Mistake]:
    """Return requirements that most students do not meet in what counts.

    The example is the one that has most points besides, so that little else is wrong in it.
    """
    wrong: dict[tuple[str, str], list[Work]] = defaultdict(list)
    handed_in: Counter[str] = Counter(each.exercise for each in work)
    for each in work:
        for requirement, result in each.results.items():
            if result[0] != Status.MET.value:
                wrong[each.exercise, requirement].append(each)
    found = [
        Mistake(
            name,
            own[0].title,
            requirement,
            len(own),
            handed_in[name],
            max(own, key=lambda each: each.score).submission_id,
        )
        for (name, requirement), own in wrong.items()
    ]
    return sorted(found, key=lambda each: -each.students)[:most]
