"""One damaged program or exercise file from a seed: refused with messages, or it runs."""

import json
from functools import cache
from pathlib import Path
from random import Random

import numpy as np

from server.ladder.json_form import from_json, to_json
from server.ladder.messages import ProgramError
from server.ladder.program import Program
from server.ladder.text_form import parse_program, print_program
from server.ladder.validation import errors
from server.ladder.xml_reader import read_xml
from server.ladder.xml_writer import write_xml
from server.marking.acceptance import acceptance_run
from server.marking.files.catalogue import start_program
from server.marking.files.drafts import Draft, read_draft
from server.marking.machine import assemble
from server.marking.replay import LONGEST_MS, replay
from server.marking.scenario import faults_in
from server.paths import EXERCISES
from tests.damage import damaged, damaged_data, damaged_xml, damaged_yaml
from tests.factories import EXERCISES as SMALL
from tests.marking.small_exercise import SLUG, TEXT
from tests.scan.crowded import crowded
from tests.scan.test_kernel import check

REFUSED, RUNS = "refused", "runs"


def program(seed: int) -> str:
    """A program in one of its three forms, run like the plain interpreter if it is taken."""
    random = Random(seed)
    whole = crowded(seed)
    try:
        match seed % 3:
            case 0:
                taken = parse_program(damaged(print_program(whole), random))
            case 1:
                data = json.dumps(damaged_data(to_json(whole), random))
                taken = from_json(json.loads(data))
            case _:
                taken = read_xml(damaged_xml(write_xml(whole), random)).program
        messages = errors(taken)
    except ProgramError as refused:
        messages = refused.messages
        assert messages
    assert all(message.text.endswith(".") for message in messages), messages
    if messages:
        return REFUSED
    check(taken, seed, period_ms=10, observe=False, scans=2)
    return RUNS


def accepted(text: str) -> Program | None:
    """The program of a text, if it can be read and has no errors."""
    taken: Program | None = None
    try:
        taken = parse_program(text)
        messages = errors(taken)
    except ProgramError as refused:
        messages = refused.messages
    assert all(message.text.endswith(".") for message in messages)
    return None if messages else taken


@cache
def _files() -> tuple[tuple[str, str], ...]:
    """Small files are quickly read; each shipped one is among them, too."""
    small = (SMALL / "wash-sump" / "exercise.yaml").read_text()
    shipped = [(each.parent.name, each.read_text()) for each in _shipped()]
    return (*((SLUG, TEXT), ("wash-sump", small)) * len(shipped), *shipped)


def _shipped() -> list[Path]:
    return sorted(EXERCISES.glob("*/exercise.yaml"))


def exercise_file(seed: int) -> str:
    """A damaged exercise file, through an acceptance run of the program to begin with if taken."""
    random = Random(seed)
    slug, text = random.choice(_files())
    reading = read_draft(Draft(slug, damaged_yaml(text, random), {}))
    for fault in reading.faults:
        assert fault.line >= 1, fault
        assert fault.sentence.endswith((".", "?")), fault
    if reading.exercise is None:
        assert reading.faults
        return REFUSED
    exercise = reading.exercise
    begun = start_program(exercise)
    assert not errors(begun)
    verdict = acceptance_run(exercise, begun)
    assert len(verdict.requirements) == len(exercise.requirements)
    assembled = assemble(exercise, begun, faults=faults_in(exercise.scenarios))
    scans = replay(assembled, exercise.scenarios).scans
    assert np.max(scans, initial=0) <= LONGEST_MS // exercise.period_ms
    return RUNS
