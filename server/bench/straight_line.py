"""A program and its plant as straight-line C, one scenario at a time.

It is what ``bench`` measures the kernel against: the code that someone would write by hand for
this one program and this one plant. It says the same as the kernel, scan for scan. Elements and
plants that nothing measured uses are refused with a sentence.
"""

from dataclasses import dataclass, field

from server.ladder.elements import CoilKind, ContactKind, Operator, Relation
from server.ladder.points import Direction, PointDeclaration
from server.ladder.program import (
    AssignmentStatement,
    Block,
    Calculated,
    Coil,
    Comparison,
    Contact,
    Duration,
    Element,
    Formula,
    Name,
    Number,
    Output,
    Parallel,
    Program,
    Series,
)
from server.marking.exercise import Exercise
from server.plant.c_code import CCode, c_level, c_sense
from server.plant.devices import kind_of

_FRAME = """\
#include <math.h>
#include <stdbool.h>
#include <stdint.h>

static inline double drained(double h, double fall) {
  double root = sqrt(h);
  fall = fall < root ? fall : root;
  double lost = fall * (2.0 * root - fall);
  return lost < h ? lost : h;
}

/* Follows one timeline of (scan, control, value) and keeps the last state in `kept`. */
static void scenario(const int32_t *steps, int64_t count, int64_t scans, double *kept,
                     uint8_t *outputs, double *levels) {
  bool control[] = {@controls@};
@declarations@
  int64_t next = 0;
  for (int64_t scan = 0; scan < scans; scan++) {
    while (next < count && steps[3 * next] <= scan) {
      control[steps[3 * next + 1]] = steps[3 * next + 2];
      next++;
    }
    if (scan == 0) {
      @senses@
    }
    @scan@
    @plant@
    @senses@
#ifdef RECORD
    @record@
#endif
  }
  @kept@
}

void run(const int32_t *steps, const int64_t *first, int64_t lanes, int64_t scans, double *kept,
         uint8_t *outputs, double *levels) {
  for (int64_t lane = 0; lane < lanes; lane++)
    scenario(steps + 3 * first[lane], first[lane + 1] - first[lane], scans, kept + lane * @size@,
             outputs + lane * scans * @outputs@, levels + lane * scans * @levels@);
}
"""

_BLOCKS = {
    "TON": "{n} = {power} ? {n} + ({n} <= {PT}) : 0; {q} = {n} > {PT};",
    "TOF": "if ({power}) {{ {n} = 0; {q} = 1; }} else if ({q}) {{ {n}++; {q} = {n} <= {PT}; }}",
    "TP": "if ({q}) {q} = ++{n} < {PT}; "
    "else if ({power} && !{m}) {{ {n} = 0; {q} = {PT} > 0; }} {m} = {power};",
    "CTU": "if ({R}) {cv} = 0; else if ({power} && !{m} && {cv} < 32767) {cv}++; "
    "{m} = {power}; {q} = {cv} >= {PV};",
    "R_TRIG": "{q} = {power} & !{m}; {m} = {power};",
    "F_TRIG": "{q} = !{power} & !{m}; {m} = !{power};",
    "SR": "{q1} = {power} | (!{R} & {q1});",
    "RS": "{q1} = !{R1} & ({power} | {q1});",
}
"""One scan of a block; ``n`` counts scans, of a TON from 1 in the scan that saw the edge."""

_C_OPERATORS = (Operator.ADD, Operator.SUB, Operator.MUL, Operator.DIV)
"""The operators that C writes alike."""

_RELATIONS = {Relation.EQ: "==", Relation.NE: "!="}


@dataclass(frozen=True, slots=True)
class StraightLine:
    """C source whose ``run`` follows many timelines, one after the other.

    ``controls`` are numbered as the timelines name them. For each lane ``run`` keeps ``size``
    doubles and, compiled with RECORD, one byte for each of ``outputs`` and one double for each of
    ``levels`` in each scan.
    """

    source: str
    controls: tuple[str, ...]
    outputs: tuple[str, ...]
    levels: tuple[str, ...]
    size: int


def straight_line(exercise: Exercise, program: Program) -> StraightLine:
    """Write the program, the devices without their faults, and the exercise's plant as C.

    Raises ValueError for a part of the program or the plant that has no straight-line C.
    """
    writer = _Writer(exercise, program)
    parts = {"scan": writer.scan()}
    plant = writer.plant()
    parts |= {"plant": [*plant.drive, *plant.move], "senses": plant.sense}
    points = [p for p in exercise.points if p.direction is Direction.OUTPUT]
    outputs = [writer.variable(point.address) for point in points]
    vessels = [vessel.name for vessel in exercise.plant.vessels]
    levels = [c_level(name) for name in vessels]
    parts["record"] = [f"*outputs++ = {name};" for name in outputs]
    parts["record"] += [f"*levels++ = {name};" for name in levels]
    parts["kept"] = [f"kept[{i}] = {name};" for i, name in enumerate(writer.state)]
    parts["declarations"] = [f"  {t} {n} = {v};" for n, (t, v) in writer.state.items()]
    parts["controls"] = [", ".join(str(int(on)) for on in writer.controls.values())]
    sizes = {"size": len(writer.state), "outputs": len(outputs), "levels": len(levels)}
    source = _FRAME
    for name, lines in (parts | {n: [str(size)] for n, size in sizes.items()}).items():
        source = source.replace(f"@{name}@", "\n    ".join(lines))
    return StraightLine(
        source,
        tuple(writer.controls),
        tuple(point.symbol for point in points),
        tuple(f"{name}.level" for name in vessels),
        sizes["size"],
    )


@dataclass(slots=True)
class _Writer:
    """``state`` has type and initial value of every C variable that outlives a scan."""

    exercise: Exercise
    program: Program
    controls: dict[str, bool] = field(default_factory=lambda: {"power": True})
    state: dict[str, tuple[str, str]] = field(default_factory=dict)
    lines: list[str] = field(default_factory=list)
    temporaries: int = 0

    # -- one scan -----------------------------------------------------------------------------

    def scan(self) -> list[str]:
        """Input stage, rungs, loss of supply, output stage."""
        points = self.exercise.points
        inputs = [p for p in points if p.direction is Direction.INPUT]
        for point in inputs:
            self._input(point)
        read = set(self.state)
        for variable in self.program.variables:
            if variable.retain or variable.type not in ("BOOL", "INT", *_BLOCKS):
                raise ValueError(f"{variable.symbol} can't be written as straight-line C.")
            if variable.type not in _BLOCKS and _own(variable.symbol) not in read:
                kind = "bool" if variable.type == "BOOL" else "int32_t"
                self.state[_own(variable.symbol)] = (kind, str(variable.initial or 0))
        for rung in self.program.rungs:
            power = self._series(rung.network, "1")
            for output in rung.outputs:
                self._output(output, power)
        lost = [f"{n} = {v};" for n, (_, v) in self.state.items() if n not in read]
        self.lines.append(f"if (!control[0]) {{ {' '.join(lost)} }}")
        for point in points:
            if point.direction is Direction.OUTPUT:
                self._actuator(point)
        return self._taken()

    def _input(self, point: PointDeclaration) -> None:
        by_hand = kind_of(point).by_hand
        actuated = self._control(f"panel.{point.symbol}") if by_hand else c_sense(point.device)
        turned = "!" if point.wiring is ContactKind.CLOSED else ""
        name = self.variable(point.address)
        self.state[name] = ("bool", "0")
        self.lines.append(f"{name} = {turned}{actuated};")

    def _actuator(self, point: PointDeclaration) -> None:
        """Write an actuator: a contactor follows its command some scans later."""
        stages = [f"on_{point.symbol}"]
        for i in range(-(-kind_of(point).delay_ms // self.exercise.period_ms)):
            stages.append(f"late{i}_{point.symbol}")
        self.state |= dict.fromkeys(stages, ("bool", "0"))
        command = f"{self.variable(point.address)} & control[0]"
        for later, earlier in zip(stages, [*stages[1:], command], strict=True):
            self.lines.append(f"{later} = {earlier};")

    # -- networks -----------------------------------------------------------------------------

    def _series(self, series: Series, power: str) -> str:
        """Write what a network does; the name of the power that leaves it."""
        for item in series.items:
            if isinstance(item, Parallel):
                power = self._named(" | ".join(self._series(b, power) for b in item.branches))
            elif isinstance(item, Block):
                power = self._block(item, power)
            else:
                power = self._named(f"{power} & {self._conducts(item)}")
        return power

    def _conducts(self, element: Element) -> str:
        match element:
            case Contact(ContactKind.OPEN, symbol):
                return _own(symbol)
            case Contact(ContactKind.CLOSED, symbol):
                return f"!{_own(symbol)}"
            case Contact(kind, symbol):
                now, before = _own(symbol), f"before{len(self.state)}"
                self.state[before] = ("bool", "0")
                rising = kind is ContactKind.RISING
                edge = self._named(f"{now} & !{before}" if rising else f"!{now} & {before}")
                self.lines.append(f"{before} = {now};")
                return edge
            case Comparison(left, relation, right):
                sign = _RELATIONS.get(relation, str(relation))
                return f"({_value(left)} {sign} {_value(right)})"
            case Block():
                raise AssertionError("blocks are written by _block")

    def _block(self, block: Block, power: str) -> str:
        kind = next(v.type for v in self.program.variables if v.symbol == block.instance)
        template = _BLOCKS[kind]
        pins = {"R": "0", "power": power}
        for wired in block.inputs:
            operand = wired.operand
            if isinstance(operand, Duration):
                pins[wired.pin] = str(-(-operand.ms // self.exercise.period_ms))
            else:
                pins[wired.pin] = ("!" if wired.negated else "") + _value(operand)
        for part, of_type in (("q", "bool"), ("q1", "bool"), ("m", "bool"), ("n", "int32_t"),
                              ("cv", "int32_t")):  # fmt: skip
            if f"{{{part}}}" in template:
                pins[part] = _own(f"{block.instance}.{part}")
                self.state[pins[part]] = (of_type, "0")
        self.lines.append(template.format_map(pins))
        return pins.get("q") or pins["q1"]

    def _output(self, output: Output, power: str) -> None:
        match output:
            case Coil(kind, symbol):
                written = {
                    CoilKind.COIL: power,
                    CoilKind.NEGATED: f"!{power}",
                    CoilKind.SET: f"{_own(symbol)} | {power}",
                    CoilKind.RESET: f"{_own(symbol)} & !{power}",
                }
                self.lines.append(f"{_own(symbol)} = {written[kind]};")
            case AssignmentStatement(operator=operator) if operator not in (None, *_C_OPERATORS):
                raise ValueError(f"{operator} is not written as straight-line C.")
            case AssignmentStatement(target, left, None):
                self.lines.append(f"if ({power}) {_own(target)} = {_value(left)};")
            case AssignmentStatement(target, left, operator, right):
                assert right is not None
                a, b = _value(left), _value(right)
                there_is_one = f"{power} && {b} != 0" if operator is Operator.DIV else power
                # A result that is no INT leaves the target as it was.
                self.lines.append(
                    f"if ({there_is_one}) {{ int32_t r = {a} {operator} {b}; "
                    f"if (r == (int16_t)r) {_own(target)} = r; }}"
                )

    def _named(self, expression: str) -> str:
        self.temporaries += 1
        self.lines.append(f"const bool t{self.temporaries} = {expression};")
        return f"t{self.temporaries}"

    # -- plant --------------------------------------------------------------------------------

    def plant(self) -> CCode:
        """Return the plant's step in C: every part writes its own."""
        plant = self.exercise.plant
        code = CCode(plant, self.exercise.period_ms / 1000, self._control, self.state)
        for part in plant.parts:
            part.write_c(code)
        return code

    # -- names --------------------------------------------------------------------------------

    def variable(self, address: str) -> str:
        """Return the C name of the program's variable at an address."""
        return next(_own(v.symbol) for v in self.program.variables if v.address == address)

    def _control(self, name: str, on: bool = False) -> str:
        self.controls.setdefault(name, on)
        return f"control[{list(self.controls).index(name)}]"

    def _taken(self) -> list[str]:
        lines, self.lines = self.lines, []
        return lines


def _own(symbol: str) -> str:
    return "v_" + symbol.lower().replace(".", "_")


def _value(operand: Calculated) -> str:
    match operand:
        case Formula():
            raise ValueError("A result in between is not written as straight-line C.")
        case Name(symbol):
            return _own(symbol)
        case Number(value):
            return str(value)
        case Duration():
            raise ValueError("A comparison with ET is not written as straight-line C.")
