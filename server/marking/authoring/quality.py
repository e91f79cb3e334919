"""Whether an exercise under way is any good: what an instructor should know before the class.

Everything is tried on programs: the reference programs, every single-fault variant of the right
ones and a few plain ones. That no program of these meets a requirement, or that none meets two of
them together, does not prove that there is none; so a finding says what was tried.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations
from typing import Any

from server.ladder.drawing import draw_rung
from server.ladder.program import Program
from server.marking.authoring.exercise_check import OPEN_AT_MOST, RIGHT_AT_LEAST, WRONG_AT_LEAST
from server.marking.check import Pattern
from server.marking.coverage.proposals import propose
from server.marking.coverage.undemanded import Undemanded, find_undemanded
from server.marking.exercise import Exercise, RequirementKind
from server.marking.faults.adequacy import Fate, judge
from server.marking.faults.adequacy import VariantResult as VariantFinding
from server.marking.faults.catching import Suite
from server.marking.faults.variants import variants
from server.marking.files.draws import describe_draw
from server.marking.files.reference_programs import ReferenceProgram
from server.marking.first_violations import scenarios_of
from server.marking.machine import assemble
from server.marking.marking import Effort, mark
from server.marking.presentation.scenario_text import scenario_text
from server.marking.presentation.scenario_words import scenario_words
from server.marking.presentation.timing_chart import draw_chart
from server.marking.replay import NEVER, replay
from server.marking.scenario import Scenario, faults_in
from server.marking.trial.scenario_run import recorded_run
from server.marking.trial.trial_form import Json, to_json
from server.marking.verdict import Status

EMPTY = Program("empty")

EXERCISED_AT_LEAST = 2

_TAG = re.compile(r"\b[A-Z]{1,4}-\d{2,4}\b")
_NUMBER = re.compile(r"\bR\d{1,2}[a-z]?\b")


@dataclass(frozen=True, slots=True)
class Finding:
    """Something to mend or to think over: what it concerns and a sentence.

    ``concerns`` is a requirement, a program, a point or empty. A surviving variant has its rung as
    a drawing; ``scenario`` is the text of one that would catch it, ``steps`` the same in words.
    An undemanded output has its chart as a drawing, its run as ``scenario``, and ``check`` to add
    to ``requirement`` (empty: to a new one) or ``free``, both as they stand in the file. ``run`` is
    the run that it speaks of, as a trial run keeps it; empty where there is none.
    """

    kind: str
    concerns: str
    sentence: str
    drawing: str = ""
    scenario: str = ""
    steps: tuple[str, ...] = ()
    check: Mapping[str, Any] = field(default_factory=dict)
    requirement: str = ""
    free: Mapping[str, Any] = field(default_factory=dict)
    run: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class CheckProgress:
    """How far the look has come: ``done`` of ``total`` variants, and the findings so far."""

    findings: tuple[Finding, ...]
    done: int
    total: int
    caught: int = 0


def look_into(
    exercise: Exercise,
    programs: tuple[ReferenceProgram, ...],
    corners: Sequence[tuple[Exercise, tuple[ReferenceProgram, ...]]] = (),
) -> Iterator[CheckProgress]:
    """Everything there is to say, the quick things first; each step gives all that is known.

    ``corners`` are the exercise and its programs with other numbers for its parameters.
    """
    found = [*_out_of_step(exercise), *_counts(exercise, programs), *_marked(exercise, programs)]
    found += [finding for corner in corners for finding in _surprises(*corner)]
    found = [each for number, each in enumerate(found) if each not in found[:number]]
    failing = {each.concerns for each in found if each.kind == "programs"}
    right = [p for p in programs if p.right]
    yield CheckProgress(tuple(found), 0, 0)
    found += _exercised(exercise, right)
    told: list[Finding] = []
    for stories in find_undemanded(exercise):
        told += [_undemanded(exercise, story) for story in stories[len(told) :]]
        yield CheckProgress((*found, *told), 0, 0)
    found += told
    tried = {p.program for p in programs}
    faulty = []
    for original in right:
        # What fails itself says nothing by its variants.
        for variant in variants(original.program) if original.file.name not in failing else ():
            if variant.program not in tried:
                tried.add(variant.program)
                faulty.append((original, variant))
    yield CheckProgress(tuple(found), 0, len(faulty))
    suite = Suite(exercise)
    wanting = [suite.complaints(program) for program in (*(p.program for p in programs), EMPTY)]
    caught = 0
    for done, (original, variant) in enumerate(faulty):
        # What the suite says of a variant serves for its fate and for the last question, too.
        wanting.append(suite.complaints(variant.program))
        fate = judge(exercise, original, variant, wanting[-1])
        caught += fate.fate is Fate.CAUGHT
        if fate.fate is Fate.SURVIVED:
            found.append(_survivor(exercise, fate))
        if done % 8 == 7:
            yield CheckProgress(tuple(found), done + 1, len(faulty), caught)
    found += _impossible(exercise, wanting)
    yield CheckProgress(tuple(found), len(faulty), len(faulty), caught)


def _out_of_step(exercise: Exercise) -> Iterator[Finding]:
    """Yield where the statement and the tables speak of different things."""
    text = exercise.statement
    devices = {p.device: p for p in exercise.points}
    known = {*devices, *exercise.plant.tags}
    for tag in dict.fromkeys(_TAG.findall(text)):
        if tag not in known:
            yield Finding(
                "statement", tag, f"The statement speaks of {tag}; no point has this tag."
            )
    for tag, point in devices.items():
        if tag not in text and point.symbol not in text:
            yield Finding(
                "statement",
                tag,
                f"{tag} ({point.label}) stands in the table, not in the statement.",
            )
    numbers = {r.id for r in exercise.requirements}
    named = set(_NUMBER.findall(text))
    for number in sorted(named - numbers):
        yield Finding("statement", number, f"The statement names {number}; there is no such one.")
    for requirement in exercise.requirements:
        if named and requirement.id not in named and requirement.kind is RequirementKind.STATED:
            yield Finding(
                "statement",
                requirement.id,
                f"{requirement.id} is a stated requirement, but the statement does not name it.",
            )


def _counts(exercise: Exercise, programs: tuple[ReferenceProgram, ...]) -> Iterator[Finding]:
    right = sum(p.right for p in programs)
    for what, count, least in (
        ("right", right, RIGHT_AT_LEAST),
        ("wrong", len(programs) - right, WRONG_AT_LEAST),
    ):
        if count < least:
            yield Finding(
                "programs", "", f"There are {count} {what} programs; {least} or more tell more."
            )
    if sum(s.open for s in exercise.scenarios) > OPEN_AT_MOST:
        yield Finding("scenarios", "", f"More than {OPEN_AT_MOST} scenarios are open to students.")


def _surprises(exercise: Exercise, programs: tuple[ReferenceProgram, ...]) -> Iterator[Finding]:
    numbers = f" With {describe_draw(dict(exercise.numbers))}." if exercise.numbers else ""
    for program in programs:
        for surprise in program.surprises(mark(exercise, program.program, Effort(edits=0))):
            yield Finding("programs", program.file.name, f"{surprise}{numbers}")


def _marked(exercise: Exercise, programs: tuple[ReferenceProgram, ...]) -> Iterator[Finding]:
    yield from _surprises(exercise, programs)
    for requirement in exercise.requirements:
        if all(p.expected[requirement.id] is not Status.NOT_MET for p in programs):
            yield Finding(
                "programs",
                requirement.id,
                f"No wrong program fails {requirement.id}: nothing shows that it can be failed.",
            )


def _exercised(exercise: Exercise, right: list[ReferenceProgram]) -> Iterator[Finding]:
    """Yield requirements that fewer than two scenarios exercise on the best right program."""
    most = dict.fromkeys((r.id for r in exercise.requirements), 0)
    for program in right:
        assembled = assemble(exercise, program.program, faults=faults_in(exercise.scenarios))
        result = replay(assembled, exercise.scenarios)
        for number, requirement in enumerate(exercise.requirements):
            lanes = [
                sum(
                    result.exercised[assembled.monitor_numbers[number, index], lane] != NEVER
                    for lane in scenarios_of(exercise, number, check)
                )
                for index, check in enumerate(requirement.checks)
                if isinstance(check, Pattern)
            ]
            most[requirement.id] = max(most[requirement.id], int(min(lanes, default=2)))
    for number_, count in most.items() if right else ():
        if count < EXERCISED_AT_LEAST:
            times = "no scenario exercises" if not count else "only one scenario exercises"
            yield Finding("requirements", number_, f"{times.capitalize()} all of {number_}.")


def _impossible(exercise: Exercise, wanting: list[dict[int, Status]]) -> Iterator[Finding]:
    """Yield requirements that no program met, and pairs that none met together.

    ``wanting`` has for each program tried the requirements that it did not meet.
    """
    met = [{n for n in range(len(exercise.requirements)) if n not in each} for each in wanting]
    ids = [r.id for r in exercise.requirements]
    tried = f"none of the {len(wanting)} programs tried"
    possible = set().union(*met)
    for number in range(len(ids)):
        if number not in possible:
            yield Finding("requirements", ids[number], f"{ids[number]} is met by {tried}.")
    for one, other in combinations(sorted(possible), 2):
        if not any({one, other} <= each for each in met):
            yield Finding(
                "requirements",
                ids[one],
                f"{ids[one]} and {ids[other]} contradict each other: {tried} meets both.",
            )


def _undemanded(exercise: Exercise, story: Undemanded) -> Finding:
    proposal = propose(exercise, story)
    named = replace(story.scenario, name=f"Where {story.saboteur}")
    return Finding(
        "undemanded",
        story.output,
        f"In a right program {story.saboteur}: {story.sentence}",
        draw_chart(story.evidence, f"{story.output} as no check demands it"),
        scenario_text(named, exercise),
        story.steps,
        proposal.check,
        proposal.requirement,
        proposal.free,
        _run(exercise, story.scenario, story.reference),
    )


def _run(exercise: Exercise, scenario: Scenario, program: Program) -> Json:
    recorded = recorded_run(scenario, program, exercise.period_ms)
    return {} if recorded is None else to_json(recorded)


def _survivor(exercise: Exercise, found: VariantFinding) -> Finding:
    variant, drawing = found.variant, ""
    rung = variant.place.rung
    if rung is not None and rung < len(variant.program.rungs):
        drawing = draw_rung(variant.program.rungs[rung], variant.program, rung, width=720)
    steps: tuple[str, ...] = ()
    text, run = "", Json()
    if found.scenario is not None and found.catches:
        text = scenario_text(found.scenario, exercise)
        steps = tuple(f"{s.when}: {', '.join(s.actions)}" for s in scenario_words(found.scenario))
        run = _run(exercise, found.scenario, variant.program)
    sentence = f"{found.original}: {variant.sentence}. Nothing catches it"
    sentence += f"; it should fail {found.requirement}." if found.catches else "."
    reason = "" if found.catches else f" {found.reason}"
    return Finding(
        *("variant", found.requirement, f"{sentence}{reason}".strip(), drawing, text, steps),
        run=run,
    )
