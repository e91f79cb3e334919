"""What a page gets to see of a trial run, and what of it is kept."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings

from server.marking.scenario import Action, Adjust, Clear, Put, Turn
from server.marking.trial.manual_controls import manual_controls
from server.marking.trial.trial import TrialRun
from server.marking.trial.trial_form import action_from_json, from_json, to_json
from server.marking.trial.trial_view import Marker, View, lanes_of, shown_checks
from tests.marking.apple_sump import EXERCISE, sump_program
from tests.marking.test_trial import Doings, doings, played, program_of

OPEN_R2 = replace(
    EXERCISE,
    scenarios=(
        *EXERCISE.scenarios,
        replace(EXERCISE.scenarios[1], name="shown", open=True, judges=("R2",)),
    ),
)


def test_values_stand_in_the_order_of_their_keys() -> None:
    run = TrialRun(EXERCISE, program_of())
    run.act(Turn("panel.start_pb", True), Adjust("sump.level", 0.25))
    run.step(30)
    view = View(EXERCISE, run.program, run.live.assembled)
    shown = dict(zip(view.keys, view.values(run.live.memory).tolist(), strict=True))
    assert shown["panel.start_pb"] == shown["fill_pump"] == shown["fill_pump.on"] == 1
    assert shown["p:0:0.0.0"] == shown["p:0:"] == 1
    assert shown["p:0:0.1.0"] == 1, "the seal-in conducts from the second scan on"
    assert shown["v:starts"] == 1
    assert shown["v:delay.et"] == 290
    assert shown["sump.level"] == pytest.approx(0.25 + 0.05 / 0.5 * 0.29, abs=1e-4)
    assert view.units["sump.level"] == "m"


def test_before_the_first_scan_inputs_stand_as_they_are_about_to_be_read() -> None:
    run = TrialRun(EXERCISE, program_of())
    view = View(EXERCISE, run.program, run.live.assembled)
    before = run.live.moment()
    shown = dict(zip(view.keys, view.first_values(run.live).tolist(), strict=True))
    assert shown["stop_pb"] == shown["v:stop_pb"] == 1, "a closed contact is on at rest"
    assert shown["start_pb"] == shown["fill_pump"] == 0
    after = run.live.moment()
    assert run.scan == 0
    assert np.array_equal(before.bits, after.bits)


def test_only_checks_of_open_scenarios_are_shown() -> None:
    assert shown_checks(EXERCISE, TrialRun(EXERCISE, sump_program()).live.assembled) == ()
    run = TrialRun(OPEN_R2, sump_program())
    assert [check.requirement for check in shown_checks(OPEN_R2, run.live.assembled)] == ["R2"]


@pytest.mark.parametrize(
    ("rungs", "marks"),
    [
        ("fill_pump := (start_pb OR fill_pump) AND stop_pb;", [(40, "asked"), (40, "held")]),
        ("fill_pump := start_pb OR fill_pump;", [(40, "asked"), (45, "violated")]),
    ],
)
def test_marks_tell_when_a_check_was_asked_held_or_violated(
    rungs: str, marks: list[tuple[int, str]]
) -> None:
    run = TrialRun(OPEN_R2, sump_program(rungs))
    assembled = run.live.assembled
    lanes = lanes_of(OPEN_R2, assembled, shown_checks(OPEN_R2, assembled))
    marker = Marker(lanes)
    seen = []
    for action in (Turn("panel.start_pb", True), Turn("panel.stop_pb", True)):
        run.act(action)
        for scans in (7, 33):
            first = run.scan
            seen += marker.read(first, run.step(scans, lanes.planes))[1]
    assert [(scan, what) for scan, _, what in seen] == marks


@settings(max_examples=20)
@given(doings)
def test_changes_tell_every_scan_of_every_point(doings: Doings) -> None:
    run = TrialRun(EXERCISE, program_of())
    lanes = lanes_of(EXERCISE, run.live.assembled, ())
    marker = Marker(lanes)
    changes = []
    for actions, scans in doings:
        run.act(*actions)
        first = run.scan
        changes += marker.read(first, run.step(scans, lanes.planes))[0]
    drawn = np.zeros((run.scan, len(lanes.points)), np.bool_)
    for scan, lane, value in changes:
        drawn[scan:, lane] = value
    recorded = run.record(0, run.scan, lanes.planes, []).bits & np.uint64(1)
    assert drawn.tolist() == recorded.astype(np.bool_).tolist()


@settings(max_examples=20)
@given(doings)
def test_saved_run_reads_back(doings: Doings) -> None:
    run = played(doings)
    run.exchange(sump_program())
    run.step(3)
    assert from_json(to_json(run.recorded())) == run.recorded()


@pytest.mark.parametrize(
    "damage",
    [
        {"version": 2},
        {"scans": -1},
        {"program": {}},
        {"events": [{"scan": 5, "action": {"control": 7}}]},
        {"events": [{"scan": s, "action": {"control": "power", "on": True}} for s in (5, 4)]},
        {"extra": 1},
    ],
)
def test_anything_else_is_no_recorded_run(damage: dict[str, object]) -> None:
    with pytest.raises(ValueError, match="run"):
        from_json(to_json(played([]).recorded()) | damage)


@pytest.mark.parametrize(
    ("action", "sentence"),
    [
        (Turn("fill_pump", True), "There is no control 'fill_pump'."),
        (Turn("panel.horn", True), "There is no control 'panel.horn'."),
        (Adjust("sump.level", 2.5), "Set sump.level to 0 to 2000 mm."),
        (Adjust("sump.level", float("nan")), "Set sump.level to 0 to 2000 mm."),
        (Adjust("tank.level", 1.0), "'tank.level' can't be set by hand."),
        (Put("sump", 0.5), "There is no conveyor 'sump'."),
        (Clear("sump", 0.0, 1.0), "There is no conveyor 'sump'."),
    ],
)
def test_hands_do_only_what_is_there(action: Action, sentence: str) -> None:
    controls = manual_controls(EXERCISE.plant, TrialRun(EXERCISE, sump_program()).live.assembled)
    with pytest.raises(ValueError, match=sentence):
        controls.check(action)
    controls.check(Turn("panel.use", True))
    controls.check(Turn("fault.stop_pb.broken wire", True))
    controls.check(Adjust("sump.level", 2.0))


def test_an_action_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="nothing that can be done"):
        action_from_json({"explode": True})
