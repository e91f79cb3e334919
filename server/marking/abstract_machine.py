"""An exercise and a program as the machine in which requirements are proved."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from server.ladder.program import Program
from server.marking.exercise import Exercise
from server.marking.kept import kept
from server.marking.machine import (
    LAYOUT,
    Assembled,
    MachineBuilder,
    NotAbstract,
    ProgramImage,
    Start,
)
from server.marking.readings import reading_edges
from server.marking.scenario import Adjust, Put
from server.plant.step import PlantStep
from server.plant.switchboard import Switchboard
from server.scan.assembler import Assembler, Bit
from server.scan.compiler import compile_program
from server.scan.instructions import TRUE

Stretches = tuple[tuple[str, frozenset[int]], ...]
"""Where each transmitter's number passes from one stretch to the next, by its tag."""


def assemble_abstract(
    exercise: Exercise,
    program: Program,
    requirements: Sequence[int],
    *,
    faults: Iterable[str] = (),
    exact_timers: bool | frozenset[str],
) -> dict[int, Assembled | NotAbstract]:
    """Assemble the machine in which requirements are proved, each with its own monitors in it.

    They have to ask the same of the plant (``proofs.abstract_machines``); one that speaks of what
    the abstract plant does not have gets NotAbstract. Every control, every one of ``faults``, every
    rate of the plant and, where scenarios move items or set quantities by hand, that hand is a free
    choice.

    ``exact_timers`` says whose scans are counted: of all timers, of none, or of the named ones.
    """
    edges = reading_edges(exercise, program, exercise.requirements[requirements[0]])
    stretches = tuple(sorted(edges.items()))
    frame = _abstract_frame(exercise, tuple(requirements), frozenset(faults), stretches)
    return frame.assembled(program, exact_timers)


class AbstractFrame:
    """The abstract machine of some requirements without a program: the same for all programs."""

    def __init__(
        self,
        exercise: Exercise,
        requirements: Sequence[int],
        faults: frozenset[str],
        stretches: Stretches,
    ) -> None:
        self._asm = asm = Assembler(exercise.period_ms)
        step = PlantStep(exercise.plant, asm, abstract=True, edges=dict(stretches))
        board = Switchboard(asm, faults, free=True)
        builder = MachineBuilder(exercise, asm, step, frozenset(requirements))
        builder.find_thresholds()
        self._power = power = asm.choice()
        asm.define("power", Bit(power))
        builder.permit_hand()
        with asm.section("inputs"):
            self._inputs = builder.inputs(board, power)
        self._before_program = len(asm.choice_planes())
        self._image = image = ProgramImage(exercise, asm)
        with asm.section("outputs"):
            actuators = board.outputs(exercise.points, image.outputs, power)
        with asm.section("plant"):
            step.emit(actuators)
        with asm.section("monitors"):
            builder.observer()
            builder.unlike(image.outputs, power)
            self._judging = {number: builder.monitors_or_not(number) for number in requirements}
        self._starts = {number: _starts(exercise, step, number) for number in requirements}
        self._signals = builder.signals()
        self._edges = {
            point.symbol: step.readings[point.device].edges
            for point in exercise.points
            if point.device in step.readings
        }

    def assembled(
        self, program: Program, exact_timers: bool | frozenset[str]
    ) -> dict[int, Assembled | NotAbstract]:
        """Return the machine with a program in it, as ``assemble_abstract`` does."""
        asm = self._asm.fork()
        with asm.section("program"):
            compiled = compile_program(
                asm,
                program,
                self._inputs,
                self._power,
                exact_timers=exact_timers,
                saturate_counters=True,
            )
            self._image.fill(asm, program, compiled)
        machine = asm.machine(LAYOUT)
        # A search tries the program's choices as they come in a scan: before those of the plant.
        first, own = self._before_program, len(self._asm.choice_planes())
        planes = machine.choices
        shared = Assembled(
            machine=replace(machine, choices=planes[:first] + planes[own:] + planes[first:own]),
            program=compiled,
            checks=(),
            monitors=(),
            monitor_numbers={},
            conditions={},
            signals=self._signals,
            items=None,
            running=TRUE,
            edges=self._edges,
        )
        found: dict[int, Assembled | NotAbstract] = {}
        for number, judged in self._judging.items():
            if isinstance(judged, NotAbstract):
                found[number] = judged
                continue
            checks, monitors, numbers = judged
            found[number] = replace(
                shared,
                checks=checks,
                monitors=monitors,
                monitor_numbers=numbers,
                starts=self._starts[number],
            )
        return found


@kept
def _abstract_frame(
    exercise: Exercise,
    requirements: tuple[int, ...],
    faults: frozenset[str],
    stretches: Stretches,
) -> AbstractFrame:
    return AbstractFrame(exercise, requirements, faults, stretches)


def _starts(exercise: Exercise, step: PlantStep, requirement: int) -> tuple[Start, ...]:
    """Return where a requirement's scenarios begin: the actions, and the abstract planes."""
    found: dict[tuple[tuple[int, bool], ...], Start] = {}
    for actions in _beginnings(exercise, requirement):
        values = {a.quantity.lower(): a.value for a in actions if isinstance(a, Adjust)}
        items = [(a.position, a.marked) for a in actions if isinstance(a, Put)]
        planes = step.planes_at(values, items)
        found.setdefault(tuple(sorted(planes.items())), Start(actions, planes))
    return tuple(found.values())


@kept
def _beginnings(exercise: Exercise, requirement: int) -> tuple[tuple[Adjust | Put, ...], ...]:
    """Return what is done to the plant at the start of a requirement's scenarios, none first."""
    starts = ((), *(s.start for s in exercise.scenarios_judging(requirement)))
    done = (tuple(a for a in actions if isinstance(a, Adjust | Put)) for actions in starts)
    return tuple(dict.fromkeys(done))
