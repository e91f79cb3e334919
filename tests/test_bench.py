"""The bench: C and kernel say the same, a difference is noticed, figures have their names."""

import json
import shutil
from dataclasses import replace
from pathlib import Path
from statistics import median

import numpy as np
import pytest

from server.bench.compiled_c import CompiledC, NoCompiler, find_compiler
from server.bench.deeper import LEAST_STATES
from server.bench.kernel_vs_c import TracesDiffer, compare, kernel_vs_c
from server.bench.spread import spread
from server.bench.straight_line import straight_line
from server.bench.workload import tank_programs, workload
from server.cli import main
from server.ladder.program import Program
from server.ladder.text_form import parse_program
from server.marking.exercise import Exercise
from server.marking.files.exercise_file import load_exercise
from server.marking.machine import assemble
from server.paths import EXERCISES

needs_compiler = pytest.mark.skipif(
    not (shutil.which("gcc") or shutil.which("cc")), reason="no C compiler"
)

EVERY_BLOCK = """
VAR
    m1 : BOOL; m2 : BOOL; n : INT := 2;
    on_delay : TON; off_delay : TOF; pulse : TP; ups : CTU;
    rose : R_TRIG; fell : F_TRIG; set_first : SR; reset_first : RS;
END_VAR
m1 := fill_pb AND on_delay(PT := T#95ms);
m2 := m1 AND off_delay(PT := T#250ms);
NOT stop_pb AND pulse(PT := T#400ms);
m2 AND rose();
m1 AND fell();
stop_pb AND set_first(R := m1);
m2 AND reset_first(R1 := NOT stop_pb);
IF RISING(fill_pb) AND ups(R := drain_sel, PV := 3) THEN n := 7; END_IF;
IF RISING(drain_sel) THEN n := n * ups.CV; END_IF;
IF FALLING(drain_sel) THEN n := 300 / ups.CV; END_IF;
IF fell.Q THEN n := n - 3; END_IF;
IF FALLING(fill_pb) AND ups.CV <= 1 THEN n := ups.CV; END_IF;
fill_pump := m2 AND NOT pulse.Q OR rose.Q OR n = 7;
drain_valve := fell.Q OR set_first.Q1 AND NOT reset_first.Q1 AND NOT sump_high;
"""

SUMP = EXERCISES / "apple-wash-sump"


def sump_program(text: str, name: str) -> Program:
    """Declarations of the sump's points, then further ones and rungs."""
    points = " ".join(f"{p.symbol} AT {p.address} : {p.type};" for p in load_exercise(SUMP).points)
    return parse_program(f"PROGRAM {name}\nVAR {points} END_VAR\n{text}\nEND_PROGRAM")


def checked(
    exercise: Exercise, program: Program, folder: Path, *, other_than: str = "", scans: int = 3000
) -> CompiledC:
    """Compare kernel and C; ``other_than`` is text of the C source to change first."""
    written = straight_line(exercise, program)
    if other_than:
        assert other_than in written.source
        written = replace(written, source=written.source.replace(other_than, f"1 + {other_than}"))
    compiled = CompiledC(
        written, exercise.scenarios, exercise.period_ms, scans, folder, record=True
    )
    compare(assemble(exercise, program, faults=()), exercise.scenarios, compiled, written)
    return compiled


@needs_compiler
@pytest.mark.parametrize(("folder", "file"), tank_programs(), ids=lambda path: path.name)
def test_c_and_kernel_agree_bit_for_bit(folder: Path, file: Path, tmp_path: Path) -> None:
    compiled = checked(*workload(folder, file, minutes=1), tmp_path)
    assert compiled.outputs.any(axis=(0, 1)).sum() >= 2, "outputs were on at some time"
    assert np.ptp(compiled.levels) > 0.1, "the level moved"


@needs_compiler
def test_every_block_of_the_c_agrees(tmp_path: Path) -> None:
    exercise, _ = workload(SUMP, SUMP / "programs" / "right-seal-in.st", minutes=1)
    compiled = checked(exercise, sump_program(EVERY_BLOCK, "every_block"), tmp_path)
    assert compiled.outputs.any(axis=(0, 1)).all()


@needs_compiler
def test_a_difference_is_noticed(tmp_path: Path) -> None:
    folder = EXERCISES / "clean-in-place-tank"
    exercise, program = workload(folder, folder / "programs" / "right-seal-in.st", minutes=1)
    with pytest.raises(TracesDiffer, match="Kernel and C differ in lane"):
        checked(exercise, program, tmp_path, other_than="200")


def test_what_nothing_measured_uses_is_refused() -> None:
    exercise, _ = workload(SUMP, SUMP / "programs" / "right-seal-in.st", minutes=1)
    keeping = "VAR RETAIN kept : BOOL; END_VAR\nkept := fill_pb;"
    with pytest.raises(ValueError, match="kept can't be written"):
        straight_line(exercise, sump_program(keeping, "keeping"))


def test_without_a_compiler_it_is_said(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(NoCompiler, match="There is no C compiler here"):
        find_compiler()


@needs_compiler
def test_the_ratio_is_measured_for_each_program() -> None:
    (measured,) = kernel_vs_c(tank_programs()[:1], minutes=1, rounds=2)
    assert measured.program == "apple-wash-sump/right-edge-contact.st"
    assert measured.kernel_ns.least > 0
    assert measured.ratio.least <= measured.ratio.median <= measured.ratio.most


def test_spread() -> None:
    assert str(spread([3.0, 1.0, 2.0])) == "2.00 (1.00 to 3.00)"


def test_the_command_names_its_figures(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    assert main(["bench", "settling-tank", "crate-infeed", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["kernel_vs_c"] is None
    assert document["detail"]["kernel_vs_c"].startswith("There is no C compiler here.")
    assert list(document["detail"]["stress_ms"]) == ["settling-tank", "crate-infeed"]
    slowest = max(spread["median"] for spread in document["detail"]["acceptance_ms"].values())
    assert document["acceptance_ms"] == slowest
    longest = max(spread["median"] for spread in document["detail"]["stress_ms"].values())
    assert document["stress_ms"] == longest
    marks = [each for times in document["detail"]["mark_ms"].values() for each in times]
    assert document["mark_ms"] == {"median": median(marks), "slowest": max(marks)}
    assert document["proved_at_mark"] == 1.0
    searched = document["detail"]["transitions_per_s"]
    assert searched["states"] >= LEAST_STATES
    assert document["transitions_per_s"] == searched["median"]


def test_an_exercise_that_is_not_there_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["bench", "no-such-tank"]) == 2
    assert "There is no exercise 'no-such-tank'" in capsys.readouterr().err
