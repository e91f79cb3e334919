"""Beyond the suite: the exhaustive search's transitions a second, and a stress run's time."""

from pathlib import Path
from time import thread_time_ns

from server.bench.spread import Spread, spread
from server.ladder.program import Program
from server.ladder.text_form import parse_program
from server.marking.files.exercise_file import load_exercise
from server.marking.files.reference_programs import load_programs
from server.marking.marking import seed_of
from server.marking.proofs.proof import provable
from server.marking.proofs.search import search
from server.marking.proofs.stress import stress_run
from server.scan.assembler import Assembler, Bit
from server.scan.compiler import compile_program
from server.scan.instructions import TRUE

LEAST_STATES = 100_000
"""A search of fewer states says little about one of many."""

_MOST_STATES = 2_000_000

_COUNTING = """PROGRAM counting
VAR
    start_pb AT %IX0.0 : BOOL;
    stop_pb AT %IX0.1 : BOOL;
    part_eye AT %IX0.2 : BOOL;
    guard AT %IX0.3 : BOOL;
    reset_pb AT %IX0.4 : BOOL;
    test_pb AT %IX0.5 : BOOL;
    motor AT %QX0.0 : BOOL;
    lamp AT %QX0.1 : BOOL;
    parts : INT;
    pause : TON;
END_VAR
motor := (start_pb OR motor) AND stop_pb AND guard;
IF motor AND RISING(part_eye) THEN parts := parts + 1; END_IF;
lamp := NOT motor AND pause(PT := T#50ms) OR test_pb AND reset_pb;
END_PROGRAM
"""


def transitions_per_s(rounds: int = 3) -> tuple[int, Spread]:
    """States of an invented counting program, and transitions in a second of processor time."""
    asm = Assembler()
    inputs = {f"%IX0.{i}": Bit(asm.choice()) for i in range(6)}
    program: Program = parse_program(_COUNTING)
    with asm.section("scan"):
        compile_program(asm, program, inputs, TRUE)
    machine = asm.machine()
    sections = (machine.sections["scan"],)
    search(machine, sections, (), budget=64)  # loads the compiled kernel
    rates: list[float] = []
    for _ in range(rounds):
        begin = thread_time_ns()
        result = search(machine, sections, (), budget=_MOST_STATES)
        rates.append(result.transitions / (thread_time_ns() - begin) * 1e9)
    assert result.complete, "the program has fewer states than the budget"
    assert result.states >= LEAST_STATES, "the program has many states"
    return result.states, spread(rates)


def stress_ms(folder: Path, rounds: int = 3) -> Spread:
    """Return milliseconds of processor time for a stress run of the first right program."""
    exercise = load_exercise(folder)
    wanted = frozenset(n for n in range(len(exercise.requirements)) if provable(exercise, n))
    program = load_programs(folder, exercise)[0].program
    runs: list[float] = []
    for _ in range(rounds + 1):
        begin = thread_time_ns()
        stress_run(exercise, program, wanted, seed_of(exercise, program))
        runs.append((thread_time_ns() - begin) / 1e6)
    return spread(runs[1:])  # the first one loads the compiled kernels
