"""Marking: the acceptance run, then proofs and random runs for what it found to be met.

Where the exhaustive search finds no way to a violation, a requirement is proved. What is not
proved may still fail in a random run, or in the scenario that the search suspects, once that has
been replayed on the concrete plant. Where the program is not proved to behave as a reference, a
working day of ordinary operation has the last word: it reaches times and counts beyond the others.

A program that a scenario refutes gets into states that no right program gets into. What runs beyond
the suite then break may follow from that mistake: where one change of the program mends both, it is
noted and nothing is deducted for it.
"""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from server.ladder.program import Program
from server.ladder.text_form import print_program
from server.marking.acceptance import acceptance_run
from server.marking.coincidences import coincidences
from server.marking.coverage.endurance import endurance_run
from server.marking.evidence import look_at
from server.marking.exercise import Exercise
from server.marking.faults.shared_causes import MOST_TRIALS, find_shared_causes, mended_beside
from server.marking.first_violations import first_beyond
from server.marking.machine import assemble
from server.marking.phrases import met_but_broken_later, met_but_following
from server.marking.presentation.scenario_words import steps_in_words
from server.marking.proofs.abstract_machines import AbstractMachines
from server.marking.proofs.counterexample import replay_suspicion, suspected_scenario
from server.marking.proofs.proof import Outcome, Proof, provable, prove
from server.marking.proofs.stress import stress_run
from server.marking.replay import replay_block
from server.marking.scenario import Scenario, faults_in
from server.marking.second_look import Alike, FoundBy, as_text, differences_in, look_again
from server.marking.shadows import with_second_look
from server.marking.timeline import timeline_of
from server.marking.verdict import Difference, RequirementVerdict, Status, Verdict

WORK = 3_000_000
"""Transitions that one requirement's proof may take while a student waits."""

LIKE_A_REFERENCE = "behaves as a reference program: proved"
"""How a requirement is known where the search finds no difference from every reference."""

PROVED = "proved"

BROKEN_LATER = "It was broken in runs in which other requirements had been broken before."
"""Why a met requirement is not proved whose violations are never first."""

BROKEN_BESIDE = "It was broken beyond the scenarios, by a mistake that another requirement shows."
"""Why a requirement is not proved whose violations come with another's, or are mended with them."""


@dataclass(frozen=True, slots=True)
class Effort:
    """How much is done beyond the written scenarios: random runs, transitions a proof, edits.

    ``edits`` are the near programs that are tried for causes that requirements share, ``beside``
    those for a mistake of the suite that runs beyond it show again: that is rarer.
    """

    runs: int = 2048
    work: int = WORK
    edits: int = MOST_TRIALS
    beside: int = 5 * MOST_TRIALS


@dataclass(frozen=True, slots=True)
class Found:
    """A violation beyond the suite: the scenario, the monitor, the scan and what found it."""

    scenario: Scenario
    monitor: int
    scan: int
    by: str


def mark(exercise: Exercise, program: Program, effort: Effort | None = None) -> Verdict:
    """Return the full verdict on a program that is free of errors.

    A program that meets every requirement on its behavior is also compared with the references.
    The same program, exercise and engine give the same bytes.
    """
    effort = effort or Effort()
    verdict = acceptance_run(exercise, program)
    judged = list(verdict.requirements)
    differences = _beyond_the_suite(exercise, program, judged, effort)
    alike = Alike.NO
    if exercise.references and _behaves(exercise, judged):
        look = look_again(exercise, program, runs=effort.runs, seed=seed_of(exercise, program))
        differences += look.differences
        alike = look.alike
        if alike is not Alike.NO:
            judged = [
                replace(r, known_by=LIKE_A_REFERENCE, not_proved="")
                if provable(exercise, n)
                and (alike is Alike.WITH_FAULTS or not _with_faults(exercise, n))
                else r
                for n, r in enumerate(judged)
            ]
    if effort.runs and alike is Alike.NO:
        differences = _endure(exercise, program, judged, differences)
    whole = replace(verdict, requirements=tuple(judged), second_look=differences)
    causes = find_shared_causes(exercise, program, whole, most=effort.edits)
    return replace(whole, causes=causes)


def _beyond_the_suite(
    exercise: Exercise, program: Program, judged: list[RequirementVerdict], effort: Effort
) -> tuple[Difference, ...]:
    """Let proofs and runs judge what is met so far, in place; return what a teacher may look at."""
    met = [n for n, r in enumerate(judged) if r.status is Status.MET and provable(exercise, n)]
    # A met requirement with a sentence was broken after others: no search can prove it.
    broken = _broken(exercise, judged)
    machines = AbstractMachines(exercise, program)
    proofs = {n: prove(machines, n, work=effort.work) for n in met if not judged[n].sentence}
    found, followed = _runs_that_break(exercise, program, met, proofs, effort)
    runs = {n: (each.scenario, each.scan) for n, each in found.items()}
    not_met = {n for n, r in enumerate(judged) if r.status is Status.NOT_MET} | found.keys()
    # A search leads there by what it takes; only a random run has somebody do more.
    at_random = {n: run for n, run in runs.items() if found[n].by == FoundBy.RANDOM_RUN}
    anyway = coincidences(exercise, program, at_random, not_met)
    beside: frozenset[int] = frozenset()
    if broken and found:
        beside = mended_beside(exercise, program, runs, most=effort.beside)
    differences: tuple[Difference, ...] = ()
    for number in met:
        so_far, proof = judged[number], proofs.get(number)
        if number in found:
            if number in anyway or number in beside:
                by = (exercise.requirements[anyway[number]].id,) if number in anyway else broken
                note = met_but_following(so_far.id, by)
                judged[number] = replace(so_far, sentence=note, not_proved=BROKEN_BESIDE)
            else:
                judged[number] = _not_met(exercise, program, number, found[number], so_far)
        elif proof is None:
            judged[number] = replace(so_far, not_proved=BROKEN_LATER)
        elif proof.outcome is Outcome.PROVED:
            judged[number] = replace(so_far, known_by=PROVED, covers=proof.covers)
        elif number in followed:
            note = met_but_broken_later(so_far.id, followed[number])
            judged[number] = replace(so_far, sentence=note, not_proved=BROKEN_LATER)
        else:
            judged[number] = replace(so_far, not_proved=reason(proof))
            differences += _suspected(exercise, so_far.id, proof)
    return differences


def _runs_that_break(
    exercise: Exercise,
    program: Program,
    met: list[int],
    proofs: Mapping[int, Proof],
    effort: Effort,
) -> tuple[dict[int, Found], dict[int, tuple[str, ...]]]:
    """Return random runs and replayed searches in which a met requirement is broken first.

    Return also which requirements were broken before, where a search leads only to that.
    """
    unproved = frozenset(
        n for n in met if n not in proofs or proofs[n].outcome is not Outcome.PROVED
    )
    found: dict[int, Found] = {}
    if unproved and effort.runs:
        seed = seed_of(exercise, program)
        runs = stress_run(exercise, program, unproved, seed, runs=effort.runs)
        found |= {
            n: Found(v.scenario, v.monitor, v.scan, FoundBy.RANDOM_RUN) for n, v in runs.items()
        }
    followed: dict[int, tuple[str, ...]] = {}
    for number, proof in proofs.items():
        if number not in found and proof.suspicion is not None:
            replayed = replay_suspicion(exercise, program, number, proof.suspicion)
            if replayed is not None and replayed.nominal:
                first = _first_in(exercise, program, replayed.scenario)
                found = {n: f for n, f in first.items() if n in met} | found
                if first and number not in first:
                    followed[number] = tuple(exercise.requirements[n].id for n in sorted(first))
    return found, followed


def _behaves(exercise: Exercise, judged: Sequence[RequirementVerdict]) -> bool:
    """Return whether every requirement on behavior is met."""
    return all(r.status is Status.MET for n, r in enumerate(judged) if provable(exercise, n))


def _endure(
    exercise: Exercise,
    program: Program,
    judged: list[RequirementVerdict],
    differences: tuple[Difference, ...],
) -> tuple[Difference, ...]:
    """Let a working day judge what is met so far, in place, where it can add something.

    Return the differences from the references that are then known: none where it finds a
    requirement broken.
    """
    met = frozenset(
        n for n, r in enumerate(judged) if r.status is Status.MET and provable(exercise, n)
    )
    compares = bool(exercise.references) and _behaves(exercise, judged) and not differences
    proved = all(judged[n].known_by == PROVED for n in met)
    if _broken(exercise, judged) or (proved and not compares):
        return differences
    look = len(exercise.requirements)
    worked = with_second_look(exercise) if compares else exercise
    found = endurance_run(worked, program, met | {look})
    for number in sorted(met & found.keys()):
        run = found[number][0]
        broken = Found(run.scenario, run.monitor, run.scan, FoundBy.ENDURANCE)
        judged[number] = _not_met(exercise, program, number, broken, judged[number])
    if look in found:
        return differences_in(exercise, program, found[look])
    # What a search suspects of a requirement stands beside what a day has broken.
    return tuple(d for d in differences if not d.output) if found else differences


def _first_in(exercise: Exercise, program: Program, scenario: Scenario) -> dict[int, Found]:
    """Return the requirements that are broken first in a run that the search led to, by number."""
    assembled = assemble(replace(exercise, scenarios=(scenario,)), program)
    violated = replay_block(assembled, timeline_of([scenario], assembled))[0][:, :1]
    first = first_beyond(exercise, assembled, [scenario], violated)
    return {
        number: Found(scenario, monitor, int(violated[monitor, 0]), "the exhaustive search")
        for (number, _), monitor in reversed(assembled.monitor_numbers.items())
        if first[monitor, 0]
    }


def _with_faults(exercise: Exercise, number: int) -> bool:
    """Return whether a requirement is judged in a scenario with faults."""
    return bool(faults_in(exercise.scenarios_judging(number)))


def seed_of(exercise: Exercise, program: Program) -> int:
    """Return the seed of a program's random runs: 63 bits that follow from program and suite."""
    text = f"{exercise.suite_hash}\n{print_program(program)}"
    return int.from_bytes(hashlib.sha256(text.encode()).digest()[:8], "big") >> 1


def _suspected(exercise: Exercise, requirement: str, proof: Proof) -> tuple[Difference, ...]:
    """Return what a teacher should look at: the search refuted a requirement and no run did."""
    if proof.outcome is not Outcome.REFUTED or proof.suspicion is None:
        return ()
    scenario = suspected_scenario(exercise, proof.suspicion)
    sentence = (
        f"{requirement} may be broken: the search found a way to a violation that the plant at its "
        "own rates did not take."
    )
    steps, text = steps_in_words(scenario), as_text(exercise, scenario, requirement)
    return (Difference("", sentence, 0, FoundBy.SEARCH, steps, scenario=text),)


def reason(proof: Proof) -> str:
    """Why a requirement is not proved."""
    if proof.outcome is Outcome.OPEN:
        return proof.reason
    return (
        "The search found a way to a violation that the plant at its own rates did not take; "
        "the requirement rests on its scenarios."
    )


def _broken(exercise: Exercise, judged: Sequence[RequirementVerdict]) -> tuple[str, ...]:
    """Return the requirements on behavior that are not met so far."""
    return tuple(
        r.id for n, r in enumerate(judged) if provable(exercise, n) and r.status is Status.NOT_MET
    )


def _not_met(
    exercise: Exercise, program: Program, number: int, found: Found, met: RequirementVerdict
) -> RequirementVerdict:
    """Return a requirement that a run beyond the suite violates, with that run as evidence."""
    widened = replace(exercise, scenarios=(*exercise.scenarios, found.scenario))
    assembled = assemble(widened, program, faults=faults_in(widened.scenarios))
    shown, run = look_at(widened, assembled, found.monitor, found.scenario, found.scan)
    return replace(
        met,
        status=Status.NOT_MET,
        known_by=found.by,
        covers="",
        not_proved="",
        sentence=assembled.checks[found.monitor].not_met(met.id, run),
        score=0.0,
        evidence=replace(shown, steps=steps_in_words(found.scenario)),
    )
