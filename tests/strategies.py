"""Hypothesis strategies. ``programs`` gives declared, type-correct programs that may run."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from hypothesis import strategies as st

from server.ladder.elements import (
    BLOCK_TYPES,
    INT_MAX,
    INT_MIN,
    WORD_MAX,
    CoilKind,
    ContactKind,
    Operator,
    Pin,
    PinType,
    Relation,
)
from server.ladder.program import (
    AssignmentStatement,
    Block,
    BlockInput,
    Calculated,
    Coil,
    Comparison,
    Contact,
    Duration,
    Element,
    Formula,
    Item,
    Name,
    Number,
    Operand,
    Output,
    Parallel,
    Program,
    Rung,
    Series,
    Variable,
)

NUMBERS = st.one_of(
    st.integers(-3, 6), st.sampled_from([INT_MIN, INT_MAX]), st.integers(INT_MIN, INT_MAX)
)
"""Values of INT; small ones often, so that comparisons and counters come out both ways."""

BITS = st.one_of(
    st.integers(0, 15).map(lambda n: 1 << n),
    st.sampled_from([0, WORD_MAX]),
    st.integers(0, WORD_MAX),
)
"""Values of WORD; single bits often."""

DURATIONS = st.one_of(st.integers(0, 12).map(lambda n: n * 10), st.integers(0, 5000))
"""Milliseconds; a few scans of 10 ms often."""

WORDS = st.sampled_from(["", "Start push-button", "[R1] // (* odd *)", " [] two\n\nlines\t"])
COMMENTS = WORDS | st.text(max_size=60)
SERVES = st.lists(st.sampled_from(["R1", "R2a", "R2b", "R3", "R10"]), max_size=2).map(tuple)


@dataclass(slots=True)
class _Symbols:
    """What a rung may name; block instances are taken out as they are used."""

    bits: list[str] = field(default_factory=list)
    writable_bits: list[str] = field(default_factory=list)
    numbers: list[str] = field(default_factory=list)
    writable_numbers: list[str] = field(default_factory=list)
    durations: list[str] = field(default_factory=list)
    words: list[str] = field(default_factory=list)
    blocks: list[Variable] = field(default_factory=list)


@st.composite
def programs(
    draw: st.DrawFn,
    *,
    max_rungs: int = 5,
    max_depth: int = 2,
    block_types: Sequence[str] = tuple(BLOCK_TYPES),
    numbers: bool = True,
) -> Program:
    """Programs without errors: every element, small nesting, each block instance used once.

    ``block_types`` bounds the function blocks, ``numbers=False`` leaves out INT and TIME operands
    except the blocks' own presets.
    """
    variables = draw(_variables(block_types, numbers))
    symbols = _Symbols()
    for variable in variables:
        _collect(variable, symbols)
    # Hypothesis' own lists are mostly shorter than the programs that find mistakes.
    rungs = [draw(_rungs(symbols, max_depth)) for _ in range(draw(st.integers(0, max_rungs)))]
    return Program("trial", variables, tuple(rungs), draw(COMMENTS))


@st.composite
def _variables(draw: st.DrawFn, block_types: Sequence[str], numbers: bool) -> tuple[Variable, ...]:
    def declare(
        symbol: str, data_type: str, address: str | None, values: st.SearchStrategy[int]
    ) -> Variable:
        # A real input has no memory to keep.
        retain = draw(st.booleans()) and (address is None or not address.startswith("%I"))
        initial = draw(st.none() | values)
        return Variable(symbol, data_type, address, initial, retain, draw(WORDS))

    bit = st.integers(0, 1)
    declared = [
        declare(f"in_{i}", "BOOL", f"%IX0.{i}", bit) for i in range(draw(st.integers(1, 3)))
    ]
    declared += [
        declare(f"out_{i}", "BOOL", f"%QX0.{i}", bit) for i in range(draw(st.integers(1, 3)))
    ]
    declared += [declare(f"bit_{i}", "BOOL", None, bit) for i in range(draw(st.integers(0, 2)))]
    if numbers:
        declared += [
            declare(f"n_{i}", "INT", None, NUMBERS) for i in range(draw(st.integers(0, 2)))
        ]
        declared += [declare(f"w_{i}", "WORD", None, BITS) for i in range(draw(st.integers(0, 2)))]
        declared += [declare("level", "INT", "%IW2", NUMBERS)] * draw(st.integers(0, 1))
        declared += [declare("pause", "TIME", None, DURATIONS)] * draw(st.integers(0, 1))
    if block_types:
        for i in range(draw(st.integers(0, 4))):
            name = draw(st.sampled_from(block_types))
            declared.append(Variable(f"block_{i}", name, retain=draw(st.booleans())))
    return tuple(draw(st.permutations(declared)))


def _collect(variable: Variable, symbols: _Symbols) -> None:
    writable = not (variable.address or "").startswith("%I")
    match variable.type:
        case "BOOL":
            symbols.bits.append(variable.symbol)
            symbols.writable_bits += [variable.symbol] * writable
        case "INT":
            symbols.numbers.append(variable.symbol)
            symbols.writable_numbers += [variable.symbol] * writable
        case "TIME":
            symbols.durations.append(variable.symbol)
        case "WORD":
            symbols.words.append(variable.symbol)
            bits = [f"{variable.symbol}.%X{number}" for number in (0, 1, 7, 15)]
            symbols.bits += bits
            symbols.writable_bits += bits
        case name:
            symbols.blocks.append(variable)
            of_type = {
                "BOOL": symbols.bits,
                "INT": symbols.numbers,
                "TIME": symbols.durations,
            }
            for pin in BLOCK_TYPES[name].outputs:
                of_type[pin.type].append(f"{variable.symbol}.{pin.name}")


@st.composite
def _rungs(draw: st.DrawFn, symbols: _Symbols, max_depth: int) -> Rung:
    network = draw(_series(symbols, max_depth))
    outputs = draw(st.lists(_outputs(symbols), max_size=3))
    return Rung(network, tuple(outputs), draw(COMMENTS), draw(SERVES))


@st.composite
def _series(draw: st.DrawFn, symbols: _Symbols, depth: int) -> Series:
    items: list[Item] = []
    for _ in range(draw(st.integers(0, 4))):
        if depth and draw(st.integers(0, 3)) == 0:
            count = draw(st.integers(2, 3))
            items.append(Parallel(tuple(draw(_series(symbols, depth - 1)) for _ in range(count))))
        else:
            items.append(draw(_elements(symbols)))
    return Series(tuple(items))


@st.composite
def _elements(draw: st.DrawFn, symbols: _Symbols) -> Element:
    kind = draw(st.integers(0, 7))
    if kind == 4:
        sides: list[Operand]
        of_words = draw(st.booleans()) and bool(symbols.words)
        if of_words:
            word = st.sampled_from(symbols.words).map(Name)
            sides = draw(st.permutations([draw(word), draw(_words(symbols))]))
        elif draw(st.booleans()):
            sides = [draw(_numbers(symbols)), draw(_numbers(symbols))]
        else:
            # Two ETs can't be compared with each other.
            sides = draw(st.permutations([draw(_durations(symbols)), draw(_constants(symbols))]))
        return Comparison(sides[0], draw(st.sampled_from(Relation)), sides[1])
    if kind > 4 and symbols.blocks:
        block = symbols.blocks.pop()
        wired = (draw(_inputs(block, pin, symbols)) for pin in BLOCK_TYPES[block.type].inputs)
        return Block(block.symbol, tuple(pin for pin in wired if pin is not None))
    return Contact(draw(st.sampled_from(ContactKind)), draw(st.sampled_from(symbols.bits)))


@st.composite
def _inputs(draw: st.DrawFn, block: Variable, pin: Pin, symbols: _Symbols) -> BlockInput | None:
    if not pin.required and draw(st.booleans()):
        return None
    match pin.type:
        case "TIME":
            return BlockInput(pin.name, draw(_constants(symbols)))
        case "INT":
            others = [n for n in symbols.numbers if not n.startswith(f"{block.symbol}.")]
            return BlockInput(pin.name, draw(_number_among(others)))
        case "BOOL":
            symbol = draw(st.sampled_from(symbols.bits))
            return BlockInput(pin.name, Name(symbol), draw(st.booleans()))
        case _:
            raise AssertionError(f"no block has an input of type {pin.type}")


@st.composite
def _outputs(draw: st.DrawFn, symbols: _Symbols) -> Output:
    targets: dict[PinType, list[str]] = {"INT": symbols.writable_numbers, "WORD": symbols.words}
    found = [result for result, names in targets.items() if names]
    assigns = draw(st.booleans())
    if assigns and found:
        result = draw(st.sampled_from(found))
        target = draw(st.sampled_from(targets[result]))
        of_type: dict[PinType, st.SearchStrategy[Operand]] = {
            "INT": _numbers(symbols),
            "WORD": _words(symbols),
            "BOOL": st.sampled_from(symbols.bits).map(Name),
        }
        value = draw(_values(of_type, result, 2))
        return AssignmentStatement(target, Number(0)).with_value(value)
    kind = draw(st.sampled_from(CoilKind))
    return Coil(kind, draw(st.sampled_from(symbols.writable_bits)))


def _numbers(symbols: _Symbols) -> st.SearchStrategy[Operand]:
    return _number_among(symbols.numbers)


@st.composite
def _values(
    draw: st.DrawFn,
    of_type: dict[PinType, st.SearchStrategy[Operand]],
    result: PinType,
    depth: int,
) -> Calculated:
    fitting = [operator for operator in Operator if result in operator.row.result]
    if not depth or not fitting or draw(st.booleans()):
        return draw(of_type[result])
    operator = draw(st.sampled_from(fitting))
    pins = [result if pin.type == "ANY" else pin.type for pin in operator.row.pins]
    return Formula(operator, tuple(draw(_values(of_type, pin, depth - 1)) for pin in pins))


def _words(symbols: _Symbols) -> st.SearchStrategy[Operand]:
    literal = BITS.map(lambda bits: Number(bits, 16))
    return literal | st.sampled_from(symbols.words).map(Name) if symbols.words else literal


def _number_among(names: list[str]) -> st.SearchStrategy[Operand]:
    literal = NUMBERS.map(Number)
    return literal | st.sampled_from(names).map(Name) if names else literal


def _durations(symbols: _Symbols) -> st.SearchStrategy[Operand]:
    literal = DURATIONS.map(Duration)
    return literal | st.sampled_from(symbols.durations).map(Name) if symbols.durations else literal


def _constants(symbols: _Symbols) -> st.SearchStrategy[Operand]:
    literal = DURATIONS.map(Duration)
    constants = [symbol for symbol in symbols.durations if "." not in symbol]
    return literal | st.sampled_from(constants).map(Name) if constants else literal
