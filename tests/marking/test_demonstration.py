"""A run of the server's own that shows how a program breaks a requirement."""

from dataclasses import replace

from server.ladder.text_form import parse_rungs
from server.marking.demonstration import demonstrate
from server.marking.files.catalogue import Catalogue, start_program
from server.marking.trial.trial import TrialRun
from tests.factories import EXERCISES
from tests.web.lab import OVERFILLS, RIGHT


def test_a_run_without_hidden_scenarios_shows_what_a_wrong_program_breaks() -> None:
    exercise = Catalogue(EXERCISES).find("wash-sump")
    assert exercise is not None
    wrong, right = (
        replace(start_program(exercise), rungs=parse_rungs("\n".join(rungs)))
        for rungs in (OVERFILLS, RIGHT)
    )
    found = demonstrate(exercise, wrong, "R2b")
    assert found is not None
    run = TrialRun.load(exercise, found.run)
    run.step(found.scan)
    level = run.live.assembled.row("sump.level")
    assert run.live.memory.quantities[level, 0] > 1.0, "LSH-203 switches at 1 m"
    assert demonstrate(exercise, right, "R2b") is None
