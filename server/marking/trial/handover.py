"""Another version of the program takes over while the plant stands still between two scans.

The plant, the devices, the panel and the monitors go on as they were. Variables of the program
with the same symbol (or the same direct address) and type keep their values; a timer also needs
the same preset. What is ON at the takeover has no rising edge then.
"""

from typing import TypeAlias

from server.ladder.program import Program, Variable
from server.marking.trial.live import Live
from server.scan.assembler import Bit, Elapsed
from server.scan.kernel import execute
from server.scan.reading import Planar, planar, planes_of

Pair: TypeAlias = tuple[Planar, Planar]
"""The same signal in the old machine and in the new one."""


def hand_over(
    old: Live, old_program: Program, new: Live, new_program: Program, past: Live | None
) -> None:
    """Let ``new`` go on where ``old`` stands.

    ``past`` is the old machine as it was before its last scan. The new program rehearses that
    scan, so that its edge contacts and blocks know what came before; then it takes over.
    """
    if past is not None:
        _carry(past, new, _variables(past, old_program, new, new_program))
        machine = new.assembled.machine
        section = machine.sections["scan"]
        execute(
            *(machine.code, section.first, section.last),
            *(new.memory.bits, machine.initial, machine.table),
        )
        for signal in planar(new.assembled.program.symbols.items()).values():
            planes = planes_of(signal)
            new.memory.bits[planes] = machine.initial[planes]
    _carry(old, new, _variables(old, old_program, new, new_program))
    new.scan = old.scan


def _carry(old: Live, new: Live, pairs: list[Pair]) -> None:
    before, after = old.memory.bits, new.memory.bits
    new.memory.quantities[:] = old.memory.quantities
    after[_outside(new)] = before[_outside(old)]
    for name, signal in new.assembled.signals.items():
        if isinstance(signal, Bit) and is_control(name):
            after[signal.plane] = before[old.assembled.plane(name)]
    for was, now in pairs:
        after[planes_of(now)] = before[planes_of(was)]
    after[new.assembled.program.fault] = before[old.assembled.program.fault]


def _outside(live: Live) -> list[int]:
    """Return state planes of everything but the program.

    They stand in the same order beside any.
    """
    inside = set(live.assembled.program.state)
    return [plane for plane in live.assembled.machine.state if plane not in inside]


def is_control(name: str) -> bool:
    """Return whether a hand works this signal: panel, the plant's own controls, faults, supply."""
    return name == "power" or name.startswith(("panel.", "fault."))


def _variables(old: Live, old_program: Program, new: Live, new_program: Program) -> list[Pair]:
    """Signals of variables and blocks that both versions have."""
    former = {_identity(v): v.symbol.lower() for v in old_program.variables}
    pairs: list[Pair] = []
    for variable in new_program.variables:
        symbol = former.get(_identity(variable))
        if symbol is not None:
            before = _signals(old, symbol)
            after = _signals(new, variable.symbol.lower())
            shared = [(before[pin], after[pin]) for pin in after.keys() & before.keys()]
            if all(_same_time(was, now) for was, now in shared):
                pairs += shared
    return pairs


def _identity(variable: Variable) -> tuple[str, str]:
    return variable.address or variable.symbol.lower(), variable.type


def _signals(live: Live, symbol: str) -> dict[str, Planar]:
    """Return a variable's own signal under an empty name, a block's outputs by pin."""
    symbols = planar(live.assembled.program.symbols.items())
    return {
        name.partition(".")[2]: signal
        for name, signal in symbols.items()
        if name.partition(".")[0] == symbol
    }


def _same_time(was: Planar, now: Planar) -> bool:
    if not (isinstance(was, Elapsed) and isinstance(now, Elapsed)):
        return True
    return (was.planes, was.start, was.preset_ms) == (now.planes, now.start, now.preset_ms)
