"""A small exercise for tests: an invented wash sump that is filled by a pump with a seal-in."""

from server.ladder.elements import ContactKind
from server.ladder.points import PointDeclaration
from server.ladder.program import Program
from server.ladder.text_form import parse_program
from server.marking.check import Check, ProgramCheck
from server.marking.exercise import Exercise, FeedbackPolicy, Requirement, RequirementKind
from server.marking.scenario import Adjust, Scenario, Step, Turn
from server.plant.parts.level_switch import LevelSwitch
from server.plant.parts.stream import Stream
from server.plant.parts.vessel import Vessel
from server.plant.plant import Plant
from tests.marking.checks import pattern

NO, NC = ContactKind.OPEN, ContactKind.CLOSED

POINTS = (
    PointDeclaration("start_pb", "%IX0.0", "HS-201", "Start", NO, 0, "push-button"),
    PointDeclaration("stop_pb", "%IX0.1", "HS-202", "Stop", NC, 1, "push-button"),
    PointDeclaration("sump_high", "%IX0.2", "LSH-203", "Sump full", NO, None, "level switch"),
    PointDeclaration("fill_pump", "%QX0.0", "P-204", "Fill pump", None, 0, "contactor"),
    PointDeclaration("lamp", "%QX0.1", "YL-205", "Sump is full", None, 0, "lamp"),
)

PLANT = Plant(
    vessels=(Vessel("sump", 0.5, 2.0, label="sump"),),
    streams=(
        Stream("fill", "P-204", 0.05, target="sump", actuator="fill_pump", label="fill"),
        Stream("use", "P-206", 0.01, source="sump", on_at_start=False, label="use"),
    ),
    level_switches=(LevelSwitch("LSH-203", "sump", 1.0),),
)


def requirement(number: str, *checks: Check) -> Requirement:
    structure = isinstance(checks[0], ProgramCheck)
    kind = RequirementKind.STRUCTURE if structure else RequirementKind.STATED
    return Requirement(number, f"Requirement {number}.", kind, checks)


REQUIREMENTS = (
    requirement(
        "R1",
        pattern(
            whenever="start_pb AND stop_pb AND NOT sump_high AND power",
            then="fill_pump",
            within="50 ms",
            until="NOT stop_pb OR sump_high OR NOT power",
        ),
    ),
    requirement("R2", pattern(whenever="NOT stop_pb", then="NOT fill_pump", within="50 ms")),
    requirement(
        "R3",
        pattern(whenever="sump_high", then="NOT fill_pump", within="50 ms"),
        pattern(only="fill_pump", after="start_pb", afresh="NOT stop_pb OR sump_high"),
    ),
    requirement(
        "R4",
        pattern(
            whenever="sump_high AND power",
            then="lamp",
            within="50 ms",
            unless="NOT sump_high OR NOT power",
        ),
        pattern(
            whenever="NOT sump_high AND power",
            then="NOT lamp",
            within="50 ms",
            unless="sump_high OR NOT power",
        ),
    ),
    requirement("R5", pattern(never="fill_pump AND NOT power", given="NOT power")),
)


def press(*symbols: str, after_ms: int = 500) -> Step:
    return Step(tuple(Turn(f"panel.{symbol}", True) for symbol in symbols), after_ms)


def release(*symbols: str, after_ms: int = 300) -> Step:
    return Step(tuple(Turn(f"panel.{symbol}", False) for symbol in symbols), after_ms)


def tap(symbol: str, after_ms: int = 500) -> tuple[Step, Step]:
    return press(symbol, after_ms=after_ms), release(symbol)


SCENARIOS = (
    Scenario("fill until full", tap("start_pb"), run_on_ms=12_000),
    Scenario("stop on the way", (*tap("start_pb"), *tap("stop_pb", 2000), *tap("start_pb", 2000))),
    Scenario("both at once", (press("start_pb", "stop_pb"), release("stop_pb", "start_pb"))),
    Scenario(
        "used from full",
        (
            *tap("start_pb"),
            Step((Turn("panel.use", True),), 1000),
            Step((Turn("panel.use", False),), 5000),
            *tap("start_pb"),
        ),
        start=(Adjust("sump.level", 1.2),),
        run_on_ms=8000,
    ),
    Scenario(
        "supply lost",
        (*tap("start_pb"), Step((Turn("power", False),), 1000), Step((Turn("power", True),), 1000)),
    ),
)

EXERCISE = Exercise(
    slug="apple-sump",
    title="Apple wash sump",
    version=1,
    summary="Fill the sump.",
    statement="",
    period_ms=10,
    points=POINTS,
    internal_bits=(),
    plant=PLANT,
    observer=Program("observer"),
    requirements=REQUIREMENTS,
    scenarios=SCENARIOS,
    feedback=FeedbackPolicy(),
    outcomes={},
    suite_hash="invented",
)

RIGHT = "fill_pump := (start_pb OR fill_pump) AND stop_pb AND NOT sump_high;\nlamp := sump_high;"


def sump_program(rungs: str = RIGHT) -> Program:
    """A program for the sump: declarations are given, rungs are asked for."""
    declared = "\n".join(f"{p.symbol} AT {p.address} : {p.type};" for p in POINTS)
    return parse_program(f"PROGRAM sump\nVAR\n{declared}\nEND_VAR\n{rungs}\nEND_PROGRAM\n")
