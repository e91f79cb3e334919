"""Counters for proofs: they stop where Q can't change any more, and Q is the same."""

import numpy as np
import pytest

from server.ladder.text_form import parse_program
from server.scan.lanes import LANES
from tests.scan.lane_run import LaneRun

RNG_SEED = 3


def counting(kind: str, pin: str, preset: int, rung: str = ";") -> str:
    return f"""PROGRAM count
VAR
    a AT %IX0.0 : BOOL;
    b AT %IX0.1 : BOOL;
    f : {kind}; g : CTU;
    n : INT;
END_VAR

a AND f({pin} := b, PV := {preset});

{rung}
END_PROGRAM
"""


def runs(text: str) -> tuple[LaneRun, LaneRun]:
    program = parse_program(text)
    return LaneRun(program), LaneRun(program, saturate_counters=True)


@pytest.mark.parametrize("preset", [-2, 0, 1, 3])
@pytest.mark.parametrize(("kind", "pin"), [("CTU", "R"), ("CTD", "LD")])
def test_q_is_the_same_and_the_count_stays_near(kind: str, pin: str, preset: int) -> None:
    exact, short = runs(counting(kind, pin, preset))
    rng = np.random.default_rng(RNG_SEED)
    for _ in range(200):
        inputs = {
            "%IX0.0": rng.integers(0, 2, LANES).tolist(),
            "%IX0.1": (rng.random(LANES) < 0.02).astype(int).tolist(),
        }
        exact.scan(inputs)
        short.scan(inputs)
        assert short.signals()["f.q"] == exact.signals()["f.q"]
    reached = short.signals()["f.cv"]
    assert kind == "CTD" or max(reached) <= max(preset, 0)
    assert kind == "CTU" or preset < 0 or min(reached) >= 0
    assert max(map(abs, exact.signals()["f.cv"])) > 3


@pytest.mark.parametrize(
    "rung", ["IF a THEN n := f.CV; END_IF;", "a AND f.CV > 5;", "a AND g(PV := f.CV);"]
)
def test_a_count_that_is_read_counts_on(rung: str) -> None:
    _, short = runs(counting("CTU", "R", 2, rung))
    for scan in range(20):
        short.scan({"%IX0.0": [scan % 2] * LANES, "%IX0.1": [0] * LANES})
    assert short.signals()["f.cv"] == [10] * LANES
