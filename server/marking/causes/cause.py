"""Why a signal has its value: the chain from a rung back to operator actions and plant events.

The walk goes back through the recorded history: from a signal to the scan in which it took its
value, to the contacts that made the difference in the rung that wrote it, and so on through
seal-ins, set and reset coils, timers and counters to inputs. Which inputs decided is then tried
out (``marking.rehearsal``): the program runs again with one input change removed in each lane.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from server.ladder.elements import BLOCK_TYPES, NUMERIC, CoilKind
from server.ladder.names import bit_of, canonical, listed
from server.ladder.points import PointDeclaration
from server.ladder.program import (
    AssignmentStatement,
    Block,
    Coil,
    Comparison,
    Contact,
    Element,
    Name,
    Number,
    Path,
    Program,
    operands_of,
)
from server.ladder.text_printer import print_operand
from server.marking.causes.block_cause import BlockCause, block_cause
from server.marking.causes.cause_words import became, change_of, state_of
from server.marking.causes.conduction import END, Conduction, Write, leading_to, run_start, within
from server.marking.causes.history import History
from server.marking.causes.rehearsal import SUPPLY, InputChange, changes_of, decisive_changes

MAX_REASONS = 12


@dataclass(frozen=True, slots=True)
class Reason:
    """One step of an explanation: a sentence about ``signal``, since when, and where.

    ``rung`` and ``paths`` lead to the elements in the program that it speaks of, if any. A step
    that is a change of an input carries it, and is ``decisive`` when the program, run again without
    that change, gives another value.
    """

    text: str
    signal: str
    scan: int
    rung: int | None = None
    paths: tuple[Path, ...] = ()
    change: InputChange | None = None
    decisive: bool = False


def why(
    program: Program,
    history: History,
    signal: str,
    scan: int,
    points: Sequence[PointDeclaration] = (),
) -> tuple[Reason, ...]:
    """Explain the value of a variable or block output at the end of a recorded scan.

    ``signal`` is its name in any case; ``points`` tell which device stands behind an input. The
    nearest cause comes first. When some single change of an input decided the value, it is among
    the reasons and marked; where no single one did, none is.
    """
    tracer = _Tracer(program, history, points)
    name, at = signal.lower(), scan - history.first
    tracer.explain(name, at)
    reasons = tracer.reasons[:MAX_REASONS]
    decisive: list[InputChange] = []
    if history.first == 0:
        named = [reason.change for reason in reasons if reason.change is not None]
        decisive = decisive_changes(program, history, name, at, named)
        if not decisive:
            # The walk named what let the power through; look for any change that decided.
            others = [c for c in changes_of(program, history, at) if c not in named]
            decisive = decisive_changes(program, history, name, at, others)[:1]
            for change in decisive:
                tracer.input(change.symbol, change.scan)
                reasons = [*reasons[: MAX_REASONS - 1], tracer.reasons[-1]]
    otherwise = _otherwise(program, history, name, at)
    return tuple(
        replace(
            reason,
            scan=reason.scan + history.first,
            decisive=reason.change in decisive,
            text=reason.text + (otherwise if reason.change in decisive else ""),
        )
        for reason in reasons
    )


def _otherwise(program: Program, history: History, name: str, at: int) -> str:
    types = {v.symbol.lower(): v.type for v in program.variables}
    if types.get(name) in NUMERIC or name.endswith((".cv", ".et")):
        return f" Without that, {name} would be another number."
    return f" Without that, {name} would be {'OFF' if history.values[name][at] else 'ON'}."


class _Tracer:
    """Walks back; scans are indices into the history until ``why`` hands them out."""

    def __init__(
        self, program: Program, history: History, points: Sequence[PointDeclaration]
    ) -> None:
        self.reasons: list[Reason] = []
        self._program = program
        self._history = history
        self._conduction = Conduction(program, history)
        self._devices = {
            point.address: f": {point.description or point.label} {point.device}"
            for point in points
        }
        self._seen: set[tuple[str, int]] = set()
        self._holding: list[tuple[int, list[tuple[Path, Element]], int]] = []
        self._wired: list[tuple[Block, BlockCause]] = []

    def explain(self, symbol: str, scan: int) -> None:
        """Explain a signal's value at the end of a scan: how it came about, then what keeps it."""
        self.trace(symbol, scan)
        while (self._holding or self._wired) and len(self.reasons) < MAX_REASONS:
            while self._holding:
                rung, leaves, at = self._holding.pop(0)
                # An input that rests is named in the sentence on its rung.
                inner = [leaf for leaf in leaves if not self._reads_inputs_only(leaf[1])]
                self._into(rung, inner, at)
            if self._wired:
                self._into_pins(*self._wired.pop(0))

    # -- signals --------------------------------------------------------------------------------

    def trace(self, symbol: str, scan: int, position: int = END) -> None:
        """Explain the value that a signal has at a position of a scan."""
        if symbol not in self._history.values or len(self.reasons) >= MAX_REASONS:
            return  # a TIME constant needs no reason
        conduction = self._conduction
        value = conduction.read(symbol, scan, position)
        now = (
            position == END
            or symbol in conduction.inputs
            or conduction.last_write(symbol, scan, position) is not None
        )
        seen_in = scan if now else max(0, scan - 1)
        start = self._start(symbol, seen_in, value)
        changed = start > 0 or value != self._history.before[symbol]
        if (symbol, start) in self._seen:
            return
        self._seen.add((symbol, start))
        if symbol in conduction.inputs:
            self.input(symbol, start)
        elif not self._history.supply[start]:
            self._unsupplied(symbol, start)
        elif "." in symbol and not bit_of(symbol):
            self._block(symbol, seen_in, start, changed)
        else:
            limit = position if seen_in == start == scan else END
            write = conduction.last_write(symbol, start, limit) if changed else None
            if write is None:
                write = conduction.last_write(symbol, seen_in)
                changed = False
            if write is None:
                self._untouched(symbol, seen_in)
            else:
                self._written(symbol, write, seen_in, start, changed)

    def input(self, symbol: str, start: int) -> None:
        """Explain an input's value since a scan, where every chain ends."""
        change = InputChange(symbol, start)
        if symbol == SUPPLY:
            told = "came back" if self._history.supply[start] else "went off"
            self.reasons.append(
                Reason(
                    f"The supply {told} at {self._conduction.time(start)}.",
                    symbol,
                    start,
                    change=change,
                )
            )
            return
        value = self._told(symbol, start)
        since = (
            f"{became(value)} at {self._conduction.time(start)}"
            if start
            else f"has been {value} {self._conduction.always()}"
        )
        device = self._devices.get(self._conduction.variables[symbol].address or "", "")
        self.reasons.append(Reason(f"{symbol} {since}{device}.", symbol, start, change=change))

    def _unsupplied(self, symbol: str, start: int) -> None:
        off = run_start(self._history.supply, start)
        when = self._conduction.time(off)
        named = canonical(symbol)
        text = f"The supply was off at {when}: {named} had its initial value then."
        self.reasons.append(Reason(text, symbol, off, change=InputChange(SUPPLY, off)))

    def _untouched(self, symbol: str, scan: int) -> None:
        """Explain a signal that nothing has written so far."""
        value = bool(self._history.values[symbol][scan])
        number = self._conduction.is_number(symbol)
        told = self._told(symbol, scan)
        writes = [
            write
            for write in self._conduction.writes.get(symbol, [])
            if number
            or isinstance(write.by, AssignmentStatement)
            or (isinstance(write.by, Coil) and (write.by.kind is CoilKind.RESET) is value)
        ]
        places = listed(dict.fromkeys(f"rung {w.spot[0] + 1}" for w in writes)) if writes else ""
        reason = f"{places} did nothing to it" if writes else "no rung changes it"
        first = writes[0].spot[0] if writes else None
        text = f"{canonical(symbol)} has been {told} {self._conduction.always()}: {reason}."
        into = [(w.spot[0], self._deciding(w.spot[0], scan)) for w in writes]
        paths = tuple(path for rung, leaves in into if rung == first for path, _ in leaves)
        self.reasons.append(Reason(text, symbol, 0, first, paths))
        for rung, leaves in into:
            self._into(rung, leaves, scan)

    def _written(self, symbol: str, write: Write, seen_in: int, start: int, changed: bool) -> None:
        rung = write.spot[0]
        at = start if changed else seen_in
        before = self._before(at) if changed else None
        leaves = self._deciding(rung, at, before)
        told = self._told(symbol, at)
        if isinstance(write.by, AssignmentStatement):
            number = self._conduction.is_number(symbol)
            verb = f"became {told}" if number else became(told)
            did = f"{verb} at {self._conduction.time(at)}"
        elif write.by.kind in (CoilKind.SET, CoilKind.RESET):  # type: ignore[union-attr]
            verb = "set" if write.by.kind is CoilKind.SET else "reset"  # type: ignore[union-attr]
            did = f"was {verb} at {self._conduction.time(at)}"
        else:
            did = f"{became(told)} at {self._conduction.time(at)}" if changed else f"is {told}"
        conducts = bool(self._history.power[rung, ()][at])
        how = self._because(leaves, conducts, before is not None)
        # A WORD has changed because a coil drives one of its bits.
        by_bit = isinstance(write.by, Coil) and write.by.symbol.lower() != symbol
        name = write.by.symbol if isinstance(write.by, Coil) else canonical(symbol)
        self._say(f"{name} {did}: rung {rung + 1} {how}.", symbol, at, rung, leaves)
        if isinstance(write.by, Coil) and not by_bit:
            self._kept(symbol, write, seen_in, start, leaves)
        if isinstance(write.by, AssignmentStatement):
            for operand in operands_of(write.by.value):
                if isinstance(operand, Name) and operand.symbol.lower() != symbol:
                    self.trace(operand.symbol.lower(), at, write.position)
        self._into(rung, leaves, at)

    def _kept(
        self,
        symbol: str,
        write: Write,
        seen_in: int,
        start: int,
        began: list[tuple[Path, Element]],
    ) -> None:
        """Explain what keeps a coil as it is, where ``began`` does not say all of it."""
        assert isinstance(write.by, Coil), "only coils are kept"
        if write.by.kind in (CoilKind.SET, CoilKind.RESET):
            if seen_in != start:
                self._not_undone(symbol, write.by.kind, seen_in, start)
            return
        rung = write.spot[0]
        holding = self._deciding(rung, seen_in)
        names = {e.symbol.lower() for _, e in holding if isinstance(e, Contact)}
        conducts = bool(self._history.power[rung, ()][seen_in])
        if conducts and symbol in names and seen_in != start:
            others = [leaf for leaf in holding if getattr(leaf[1], "symbol", "").lower() != symbol]
            through = f" while {listed(state_of(e, True) for _, e in others)}" if others else ""
            text = f"It has held itself in since then{through}."
            self._say(text, symbol, start, rung, others or holding)
        elif not {path for path, _ in holding} <= {path for path, _ in began}:
            how = self._because(holding, conducts, changed=False)
            still = "" if seen_in == start else "still "
            self._say(f"Rung {rung + 1} {still}{how}.", symbol, start, rung, holding)
        self._holding.append((rung, holding, seen_in))

    def _not_undone(self, symbol: str, kind: CoilKind, seen_in: int, start: int) -> None:
        """Explain why the opposite coil has done nothing since a bit was set, or reset."""
        did = "reset" if kind is CoilKind.SET else "set"
        rungs = [
            write.spot[0]
            for write in self._conduction.writes[symbol]
            if isinstance(write.by, Coil) and write.by.kind is kind.partner
        ]
        if not rungs:
            self.reasons.append(Reason(f"No rung {did}s {symbol}.", symbol, start))
        for rung in dict.fromkeys(rungs):
            leaves = self._deciding(rung, seen_in)
            how = self._because(leaves, bool(self._history.power[rung, ()][seen_in]), changed=False)
            text = f"Rung {rung + 1}, which would {did} it, {how}."
            self._say(text, symbol, start, rung, leaves)
            self._holding.append((rung, leaves, seen_in))

    # -- function blocks ------------------------------------------------------------------------

    def _block(self, symbol: str, seen_in: int, start: int, changed: bool) -> None:
        instance = symbol.partition(".")[0]
        if instance not in self._conduction.blocks:
            self.reasons.append(Reason(f"{instance} stands in no rung.", symbol, start))
            return
        (rung, path), block = self._conduction.blocks[instance]
        cause = block_cause(self._conduction, symbol, seen_in, start if changed else None)
        self.reasons.append(Reason(cause.text, symbol, cause.scan, rung, (path,)))
        if cause.operand is not None:
            self.trace(cause.operand, cause.scan, self._conduction.positions[rung, path])
        else:
            chain = leading_to(self._program.rungs[rung].network, path)
            before = self._before(cause.scan)
            leaves = self._conduction.deciding(rung, chain, cause.scan, before)
            self._into(rung, leaves, cause.scan)
        self._wired.append((block, cause))

    def _into_pins(self, block: Block, cause: BlockCause) -> None:
        """Go on with the signals at a block's pins that did not act."""
        position = self._conduction.positions[self._conduction.blocks[block.instance.lower()][0]]
        for wired in block.inputs:
            if isinstance(wired.operand, Name):
                name = wired.operand.symbol.lower()
                if name != cause.operand and name not in self._conduction.inputs:
                    self.trace(name, cause.scan, position)

    # -- rungs ----------------------------------------------------------------------------------

    def _before(self, at: int) -> int | None:
        """Return the scan before one, to compare with; None for a first scan under power."""
        return at - 1 if at > 0 and self._history.supply[at - 1] else None

    def _deciding(
        self, rung: int, at: int, before: int | None = None
    ) -> list[tuple[Path, Element]]:
        chain = within(self._program.rungs[rung].network)
        return self._conduction.deciding(rung, chain, at, before)

    def _reads_inputs_only(self, element: Element) -> bool:
        match element:
            case Contact(_, symbol):
                return symbol.lower() in self._conduction.inputs
            case Comparison(left, _, right):
                names = [each.symbol.lower() for each in (left, right) if isinstance(each, Name)]
                return self._conduction.inputs.issuperset(names)
            case Block():
                return False

    def _into(self, rung: int, leaves: Iterable[tuple[Path, Element]], at: int) -> None:
        """Go on with the signals that the deciding elements read."""
        for path, element in leaves:
            position = self._conduction.positions[rung, path]
            match element:
                case Contact(_, symbol):
                    self.trace(symbol.lower(), at, position)
                case Comparison(left, _, right):
                    for operand in (left, right):
                        if isinstance(operand, Name):
                            self.trace(operand.symbol.lower(), at, position)
                case Block(instance, _):
                    kind = BLOCK_TYPES[self._conduction.variables[instance.lower()].type]
                    self.trace(f"{instance}.{kind.power_out}".lower(), at, position + 1)

    # -- words ----------------------------------------------------------------------------------

    def _say(
        self, text: str, symbol: str, at: int, rung: int, leaves: list[tuple[Path, Element]]
    ) -> None:
        paths = tuple(path for path, _ in leaves)
        self.reasons.append(Reason(text, symbol, at, rung, paths))

    def _because(self, leaves: list[tuple[Path, Element]], conducts: bool, changed: bool) -> str:
        if not leaves:
            return "conducts" if conducts else "does not conduct"
        if changed:
            told = listed(change_of(element, conducts) for _, element in leaves)
            return f"{'conducted' if conducts else 'opened'} when {told}"
        told = listed(state_of(element, conducts) for _, element in leaves)
        return f"{'conducts' if conducts else 'does not conduct'} while {told}"

    def _told(self, symbol: str, scan: int) -> str:
        value = int(self._history.values[symbol][scan])
        if not self._conduction.is_number(symbol):
            return "ON" if value else "OFF"
        word = self._conduction.variables[symbol].type == "WORD"
        return print_operand(Number(value, 16 if word else 10))

    def _start(self, symbol: str, seen_in: int, value: int) -> int:
        values = self._history.values[symbol]
        return run_start(values, seen_in) if int(values[seen_in]) == value else seen_in
