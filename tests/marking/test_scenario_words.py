"""A scenario in words: what a person would do, in order, with times as one says them."""

from server.ladder.text_form import parse_network
from server.marking.expression import Expression
from server.marking.presentation.scenario_words import scenario_words
from server.marking.scenario import Adjust, Clear, Put, Scenario, Step, Turn


def test_every_kind_of_step() -> None:
    full = Expression("sump_high", parse_network("sump_high"))
    scenario = Scenario(
        name="all kinds",
        start=(Adjust("sump.level", 1.2),),
        steps=(
            Step((Turn("panel.start_pb", True),), after_ms=500),
            Step((Turn("fault.stop_pb.broken wire", True), Turn("power", False)), after_ms=0),
            Step((Turn("fault.stop_pb.broken wire", False),), when=full, within_ms=9000),
            Step((Put("line", 0.5, True), Clear("line", 0.0, 2.0))),
            Step((), after_ms=1500),
        ),
        run_on_ms=3000,
    )
    assert [(step.when, step.actions) for step in scenario_words(scenario)] == [
        ("at the start", ("sump.level set to 1.2",)),
        ("0.5 s later", ("start_pb on",)),
        ("at once", ("fault at stop_pb: broken wire", "power off")),
        ("as soon as sump_high, within 9 s", ("stop_pb is mended",)),
        (
            "at once",
            (
                "a marked item put on line, 0.5 m from its infeed",
                "items on line from 0 m to 2 m taken off",
            ),
        ),
        ("1.5 s later", ("nothing",)),
        ("3 s later", ("the run ends",)),
    ]
