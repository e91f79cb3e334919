"""Saboteurs: controls of a machine that make a right program misbehave from a moment on.

Each is a plane ``saboteur.<variable>.<deed>``. While it is TRUE in a lane, it alters one output, or
one memory of the program, so that 64 saboteurs can be at work in one run.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from server.ladder.points import Direction, PointDeclaration
from server.ladder.program import Program
from server.scan.arithmetic import Operation
from server.scan.assembler import Assembler, Bit, Signal, TimerState, Word
from server.scan.compiler import CompiledProgram
from server.scan.instructions import INT_PLANES, Op

PREFIX = "saboteur."

OUTPUT_DEEDS = {
    "on": "{} stays on",
    "off": "{} stays off",
    "held": "{} stays as it is",
    "inverted": "{} is inverted",
    "late": "{} follows late",
    "dropped": "{} drops out for a moment",
    "pulsed": "{} comes on for a moment",
    "skipped": "{} misses the next time that it should come on",
}
BIT_DEEDS = {
    "bit on": "the bit {} stays on",
    "bit off": "the bit {} stays off",
    "flipped": "the bit {} changes by itself, once",
    "never reset": "the bit {} is not reset any more",
    "never set": "the bit {} is not set any more",
    "kept": "the bit {} outlives a loss of power",
}
NUMBER_DEEDS = {
    "one more": "the number {} is one more, once",
    "one less": "the number {} is one less, once",
    "frozen": "the number {} does not change any more",
    "forgotten": "the number {} is set to zero, once",
}
TIMER_DEEDS = {
    "over": "the timer {} is over at once",
    "endless": "the timer {} is never over",
    "restarted": "the timer {} starts anew, once",
}
_WORDS = OUTPUT_DEEDS | BIT_DEEDS | NUMBER_DEEDS | TIMER_DEEDS


def describe_saboteur(control: str) -> str:
    """Return what the saboteur of a control does, as a clause."""
    name, deed = control.removeprefix(PREFIX).split(".", 1)
    return _WORDS[deed].format(name)


@dataclass(frozen=True, slots=True)
class Sabotage:
    """Emits the saboteurs of one program; ``blink_ms`` is how long a short deviation lasts."""

    asm: Assembler
    blink_ms: int

    def emit(
        self,
        program: Program,
        compiled: CompiledProgram,
        points: Iterable[PointDeclaration],
        power: int,
    ) -> CompiledProgram:
        """Emit every saboteur behind the program's rungs; return the program as they leave it."""
        self._memory(program, compiled, power)
        outputs = dict(compiled.outputs)
        for point in points:
            if point.direction is Direction.OUTPUT:
                command = outputs.get(point.address)
                if isinstance(command, Bit):
                    outputs[point.address] = Bit(self._output(point.symbol, command.plane))
        return replace(compiled, outputs=outputs)

    def _control(self, name: str, deed: str) -> int:
        plane = self.asm.control()
        self.asm.define(f"{PREFIX}{name}.{deed}", Bit(plane))
        return plane

    def _output(self, name: str, mine: int) -> int:
        """Emit the saboteurs of one output; return the plane that they leave."""
        asm = self.asm
        stuck_on, stuck_off, held, inverted, late, dropped, pulsed, skipped = (
            self._control(name, deed) for deed in OUTPUT_DEEDS
        )
        before, memory = asm.bit(), asm.bit()
        fresh = asm.edge(mine, memory)
        out = asm.mux(late, self._delayed(mine), mine)
        missing, missed = asm.bit(), asm.bit()
        asm.emit(Op.SET, missing, asm.and_not(asm.and_(skipped, fresh), missed))
        asm.emit(Op.SET, missed, missing)
        asm.emit(Op.RESET, missing, asm.not_(mine))
        out = asm.and_not(out, missing)
        out = asm.and_not(out, self._once(asm.and_(dropped, mine)))
        out = asm.or_(out, self._once(asm.and_not(pulsed, mine)))
        out = asm.xor(out, inverted)
        out = asm.and_not(asm.or_(out, stuck_on), stuck_off)
        out = asm.mux(held, before, out)
        asm.copy_to(before, out)
        return out

    def _once(self, when: int) -> int:
        """Emit a pulse that begins when ``when`` is first TRUE; return its plane."""
        begun = self.asm.bit()
        self.asm.emit(Op.SET, begun, when)
        pulse = self.asm.timer_state(self.blink_ms)
        self.asm.run_timer(Op.TP, begun, pulse)
        return pulse.q

    def _delayed(self, plane: int) -> int:
        """Emit a delay of both edges; return its plane."""
        on, off = (self.asm.timer_state(self.blink_ms) for _ in range(2))
        self.asm.run_timer(Op.TON, plane, on)
        self.asm.run_timer(Op.TOF, on.q, off)
        return off.q

    def _memory(self, program: Program, compiled: CompiledProgram, power: int) -> None:
        signals: Mapping[str, Signal] = compiled.symbols
        for variable in program.variables:
            name = variable.symbol
            if variable.address and variable.address.upper().startswith("%I"):
                continue
            timer = compiled.timers.get(name.lower())
            if timer is not None:
                self._timer(name, timer)
                continue
            for pin in ("", ".cv", ".q1"):
                match signals.get(f"{name.lower()}{pin}"):
                    case Bit(plane):
                        self._bit(name, plane, power)
                    case Word(base):
                        self._number(name, base)
                    case _:
                        pass

    def _bit(self, name: str, plane: int, power: int) -> None:
        asm = self.asm
        on, off, flipped, no_reset, no_set, kept = (self._control(name, deed) for deed in BIT_DEEDS)
        before = asm.bit()
        stays_on = asm.or_(no_reset, asm.and_not(kept, power))
        value = asm.or_(plane, asm.and_(stays_on, before))
        value = asm.and_not(value, asm.and_not(no_set, before))
        value = asm.xor(value, asm.rising(flipped))
        asm.copy_to(plane, asm.and_not(asm.or_(value, on), off))
        asm.copy_to(before, plane)

    def _number(self, name: str, base: int) -> None:
        asm = self.asm
        more, less, frozen, forgotten = (self._control(name, deed) for deed in NUMBER_DEEDS)
        overflow, before = asm.bit(), asm.planes(INT_PLANES)
        asm.emit(Op.MOVE, base, before, frozen)
        for operation, control in ((Operation.ADD, more), (Operation.SUB, less)):
            once = asm.rising(control)
            asm.emit(Op.CALCULATE, base, base, asm.constant(1), once, overflow, operation)
        asm.emit(Op.MOVE, base, asm.constant(0), asm.rising(forgotten))
        asm.emit(Op.MOVE, before, base, asm.not_(frozen))

    def _timer(self, name: str, timer: TimerState) -> None:
        asm, elapsed = self.asm, timer.elapsed
        over, endless, restarted = (self._control(name, deed) for deed in TIMER_DEEDS)
        asm.emit(Op.SET, timer.q, asm.and_(over, timer.before))
        again = asm.or_(endless, asm.rising(restarted))
        for i in range(elapsed.planes):
            asm.emit(Op.SET if (elapsed.start >> i) & 1 else Op.RESET, elapsed.base + i, again)
        asm.emit(Op.RESET, timer.q, asm.and_(again, timer.before))
