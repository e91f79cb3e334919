"""The machines in which one program's requirements are proved, shared where they may be.

Most of a short proof is assembling its machine. Requirements that ask the same of the plant (the
same faults, boundaries of quantities and stretches of numbers) have one machine between them; each
is sliced out of it.
"""

from collections.abc import Hashable, Mapping

from server.ladder.program import Program
from server.marking.abstract_machine import assemble_abstract
from server.marking.check import Pattern
from server.marking.exercise import Exercise
from server.marking.kept import kept
from server.marking.machine import Assembled, NotAbstract
from server.marking.readings import reading_edges
from server.marking.scenario import faults_in
from server.marking.shadows import REQUIREMENT
from server.marking.thresholds import thresholds_in
from server.plant.step import PlantStep
from server.scan.assembler import Assembler, Machine
from server.scan.slicing import Slicer

SECTIONS = ("scan", "plant", "monitors")


class AbstractMachines:
    """What is assembled is kept as long as this object: a program is proved, then forgotten."""

    def __init__(self, exercise: Exercise, program: Program) -> None:
        self.exercise = exercise
        self.program = program
        self._asked: dict[int, Hashable] = {
            number: (asked, self._stretches(number))
            for number, asked in _asked_of_plant(exercise).items()
        }
        self._made: dict[
            tuple[Hashable, bool | frozenset[str]], dict[int, Assembled | NotAbstract]
        ] = {}
        self._slicers: dict[int, Slicer] = {}

    def of(self, number: int, exact_timers: bool | frozenset[str]) -> Assembled:
        """Return the machine of a requirement. Raises NotAbstract.

        ``exact_timers`` is meant as for ``assemble_abstract``.
        """
        asked = self._asked[number]
        key = (asked, exact_timers)
        if key not in self._made:
            self._made[key] = assemble_abstract(
                self.exercise,
                self.program,
                [other for other, each in self._asked.items() if each == asked],
                faults=faults_in(self.exercise.scenarios_judging(number)),
                exact_timers=exact_timers,
            )
        found = self._made[key][number]
        if isinstance(found, NotAbstract):
            raise found
        return found

    def sliced(self, assembled: Assembled, needed: set[int]) -> Machine:
        """Return what some planes of a machine depend on."""
        machine = assembled.machine
        if id(machine) not in self._slicers:
            self._slicers[id(machine)] = Slicer(machine, SECTIONS)
        return self._slicers[id(machine)].sliced(needed)

    def _stretches(self, number: int) -> Hashable:
        """Return the stretches of numbers that the program and a requirement tell apart."""
        requirement = self.exercise.requirements[number]
        return tuple(sorted(reading_edges(self.exercise, self.program, requirement).items()))


@kept
def _asked_of_plant(exercise: Exercise) -> Mapping[int, Hashable]:
    """Return what each requirement on behavior asks of the plant, and of the references, too."""
    gauges = PlantStep(exercise.plant, Assembler(exercise.period_ms), abstract=True).gauges
    asked = {}
    for number, requirement in enumerate(exercise.requirements):
        conditions = [e for check in requirement.checks for e in check.conditions().values()]
        if any(isinstance(check, Pattern) for check in requirement.checks):
            asked[number] = (
                faults_in(exercise.scenarios_judging(number)),
                frozenset(thresholds_in(conditions, gauges)),
                requirement.id == REQUIREMENT,
            )
    return asked
