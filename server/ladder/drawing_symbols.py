"""The symbols of rung elements, drawn as IEC 61131-3 shows them, as pieces of SVG.

Name above, address below, values beside. A symbol is drawn around the point where power enters its
cell; sizes follow from the text, in a font whose characters are all equally wide.
"""

from collections.abc import Iterator, Mapping
from html import escape
from textwrap import wrap
from typing import NamedTuple

from server.ladder.elements import BLOCK_TYPES, CoilKind, ContactKind
from server.ladder.program import (
    AssignmentStatement,
    Block,
    BlockInput,
    Coil,
    Comparison,
    Contact,
    Element,
    Name,
    Output,
    Program,
    Variable,
)
from server.ladder.text_printer import print_element, print_operand, print_output

CHARACTER = 7.9
"""Width of a character at ``FONT_SIZE``; monospaced fonts have 0.6 em, or hardly more."""
FONT_SIZE = 13
LINE = 16
FORK = 24
"""Room for a fork or a join of wires."""

_MIN_CELL = 72
_CELL_GAP = 18
_HALF = 13
"""Half the height of a contact or coil."""
_CONTACT = 9
"""Half the distance between a contact's two bars."""
_COIL = 14
"""Half the distance between the outsides of a coil's two arcs."""
_BOX = 15
"""Half the height of a comparison's box."""
_PIN = 22
_HEAD = 34
"""Height of a block's box above the line of power."""
_LONG_CONTENT = 56
"""What is longer in a box is set in several lines."""
_LONG_NAME = 15
"""A longer name is set in two lines if it has an underscore to break at."""


class Size(NamedTuple):
    """Room for a symbol: its width, and how far it reaches above and below the line of power."""

    width: int
    up: int
    down: int


class Symbols:
    """Draws and measures the elements of one program's rungs."""

    def __init__(self, program: Program) -> None:
        self._variables: Mapping[str, Variable] = {v.symbol: v for v in program.variables}

    # -- sizes ---------------------------------------------------------------------------------

    def element_size(self, element: Element) -> Size:
        match element:
            case Contact(_, symbol):
                return self._named_size(symbol)
            case Comparison():
                return _box_size(print_element(element))
            case Block():
                return self._block_size(element)

    def output_size(self, output: Output) -> Size:
        match output:
            case Coil(_, symbol):
                return self._named_size(symbol)
            case AssignmentStatement():
                return _box_size(print_output(output))

    def terminals(self, element: Element, size: Size) -> tuple[int, int]:
        """Return where in its cell power enters and leaves the symbol."""
        match element:
            case Contact():
                return size.width // 2 - _CONTACT, size.width // 2 + _CONTACT
            case Comparison():
                return _CELL_GAP // 2, size.width - _CELL_GAP // 2
            case Block():
                return self._operands_width(element), size.width - _CELL_GAP // 2

    def output_terminals(self, output: Output, size: Size) -> tuple[int, int]:
        """Return the same for an output."""
        half = (
            _COIL
            if isinstance(output, Coil)
            else self.output_size(output).width // 2 - _CELL_GAP // 2
        )
        return size.width // 2 - half, size.width // 2 + half

    def _named_size(self, symbol: str) -> Size:
        lines = _name_lines(symbol)
        widest = max(*map(len, lines), len(self._address(symbol)))
        width = max(_MIN_CELL, _text_width(widest) + _CELL_GAP)
        return Size(width + width % 2, _HALF + 4 + LINE * len(lines), _HALF + LINE + 2)

    def _block_size(self, block: Block) -> Size:
        rows = max(len(self._rows(block)), 1)
        box = max(self._box_width(block), _text_width(max(map(len, _name_lines(block.instance)))))
        return Size(
            self._operands_width(block) + box + _CELL_GAP // 2,
            _HEAD + 4 + LINE * len(_name_lines(block.instance)),
            _PIN * (rows - 1) + _PIN // 2 + 4 + LINE,
        )

    def _operands_width(self, block: Block) -> int:
        longest = max((len(print_operand(i.operand)) for i in block.inputs), default=0)
        return _CELL_GAP // 2 + (_text_width(longest) + 14 if longest else 0)

    def _box_width(self, block: Block) -> int:
        rows = self._rows(block)
        inside = max((len(left) + len(right) + 2 for left, right in rows), default=0)
        return _text_width(max(inside, len(self._type(block)) + 2)) + 8

    # -- drawings ------------------------------------------------------------------------------

    def element(self, element: Element, x: int, y: int, size: Size) -> str:
        match element:
            case Contact(kind, symbol):
                return "".join(self._contact(kind, symbol, x + size.width // 2, y))
            case Comparison(left, _, right):
                named = next((o.symbol for o in (left, right) if isinstance(o, Name)), "")
                return "".join(self._box(print_element(element), named, x, y, size))
            case Block():
                return "".join(self._block(element, x, y, size))

    def output(self, output: Output, x: int, y: int, size: Size) -> str:
        match output:
            case Coil(kind, symbol):
                return "".join(self._coil(kind, symbol, x, y, size))
            case AssignmentStatement(target):
                own = self.output_size(output)
                inset = (size.width - own.width) // 2
                return "".join(self._box(print_output(output), target, x + inset, y, own))

    def _contact(self, kind: ContactKind, symbol: str, x: int, y: int) -> Iterator[str]:
        yield from self._name_and_address(symbol, x, y)
        for bar in (x - _CONTACT, x + _CONTACT):
            yield line(bar, y - _HALF, bar, y + _HALF, "bar")
        if kind is ContactKind.CLOSED:
            yield line(x - _CONTACT + 2, y + _HALF - 2, x + _CONTACT - 2, y - _HALF + 2, "bar")
        mark = kind.row.mark
        yield text(x, y + 5, mark, "mark", "middle")
        yield bead(x + _CONTACT if mark else x, y)

    def _coil(self, kind: CoilKind, symbol: str, x: int, y: int, size: Size) -> Iterator[str]:
        middle = x + size.width // 2
        yield from self._name_and_address(symbol, middle, y)
        for side, sweep in ((-1, 0), (1, 1)):
            edge = middle + side * (_COIL - 7)
            yield (
                f'<path class="bar" d="M{edge} {y - _HALF}A16 16 0 0 {sweep} {edge} {y + _HALF}"/>'
            )
        if kind is CoilKind.NEGATED:
            yield line(middle - 6, y + 9, middle + 6, y - 9, "bar")
        mark = kind.row.mark
        yield text(middle, y + 5, mark, "mark", "middle")
        yield bead(middle - _COIL if mark else middle, y)

    def _box(self, content: str, named: str, x: int, y: int, size: Size) -> Iterator[str]:
        middle = x + size.width // 2
        inner = size.width - _CELL_GAP
        lines = _wrapped(content)
        bottom = y + _BOX + LINE * (len(lines) - 1)
        yield box(x + _CELL_GAP // 2, y - _BOX, inner, bottom - y + _BOX)
        for number, part in enumerate(lines):
            yield text(middle, y + 5 + LINE * number, part, "name", "middle")
        yield text(middle, bottom + LINE - 2, self._address(named), "address", "middle")
        yield value(middle, bottom + 2 * LINE - 2, named)
        yield bead(x + size.width - _CELL_GAP // 2, y)

    def _block(self, block: Block, x: int, y: int, size: Size) -> Iterator[str]:
        left = x + self._operands_width(block)
        right = x + size.width - _CELL_GAP // 2
        rows = self._rows(block)
        bottom = y + _PIN * (max(len(rows), 1) - 1) + _PIN // 2 + 2
        lines = _name_lines(block.instance)
        for number, part in enumerate(reversed(lines)):
            yield text((left + right) // 2, y - _HEAD - 5 - LINE * number, part, "name", "middle")
        yield box(left, y - _HEAD, right - left, bottom - y + _HEAD)
        yield text((left + right) // 2, y - _HEAD + 17, self._type(block), "type", "middle")
        known = BLOCK_TYPES.get(self._type(block))
        for pin in known.outputs if known else ():
            if pin.type != "BOOL":
                measured = f"{block.instance}.{pin.name}"
                yield value((left + right) // 2, bottom + LINE - 2, measured)
        wired = {each.pin: each for each in block.inputs}
        for number, (input_pin, output_pin) in enumerate(rows):
            row = y + _PIN * number
            yield text(left + 6, row + 4, input_pin, "pin", "start")
            yield text(right - 6, row + 4, output_pin, "pin", "end")
            if input_pin in wired:
                yield from _operand(wired[input_pin], left, row)
        yield bead(right, y)

    def _name_and_address(self, symbol: str, x: int, y: int) -> Iterator[str]:
        for number, part in enumerate(reversed(_name_lines(symbol))):
            yield text(x, y - _HALF - 5 - LINE * number, part, "name", "middle")
        yield text(x, y + _HALF + LINE - 2, self._address(symbol), "address", "middle")

    # -- what stands in the declarations ----------------------------------------------------------

    def _address(self, symbol: str) -> str:
        variable = self._variables.get(symbol)
        return variable.address or "" if variable else ""

    def _type(self, block: Block) -> str:
        variable = self._variables.get(block.instance)
        return variable.type if variable else "?"

    def _rows(self, block: Block) -> list[tuple[str, str]]:
        """Pin names left and right, row by row; power enters and leaves in the first row."""
        known = BLOCK_TYPES.get(self._type(block))
        if known is None:
            return [("", ""), *((wired.pin, "") for wired in block.inputs)]
        inputs = [known.power_in, *(pin.name for pin in known.inputs)]
        inputs += [wired.pin for wired in block.inputs if wired.pin not in inputs]
        outputs = [pin.name for pin in known.outputs]
        rows = max(len(inputs), len(outputs))
        inputs += [""] * (rows - len(inputs))
        outputs += [""] * (rows - len(outputs))
        return list(zip(inputs, outputs, strict=True))


def _operand(wired: BlockInput, left: int, row: int) -> Iterator[str]:
    stub = left - 10
    yield text(stub - 2, row + 4, print_operand(wired.operand), "operand", "end")
    if wired.negated:
        yield line(stub, row, left - 6, row, "stub")
        yield f'<circle class="bar" cx="{left - 3}" cy="{row}" r="3"/>'
    else:
        yield line(stub, row, left, row, "stub")


def _text_width(characters: int) -> int:
    return round(characters * CHARACTER)


def _box_size(content: str) -> Size:
    lines = _wrapped(content)
    width = max(_MIN_CELL, _text_width(max(map(len, lines))) + 16 + _CELL_GAP)
    return Size(width + width % 2, _BOX + 5, _BOX + LINE * (len(lines) + 1) + 2)


def _wrapped(content: str) -> list[str]:
    """Return the content of a box in lines; a long one is broken where it has a space."""
    return wrap(content, _LONG_CONTENT, break_long_words=False)


def _name_lines(name: str) -> list[str]:
    breaks = [i + 1 for i, character in enumerate(name) if character == "_"]
    if len(name) <= _LONG_NAME or not breaks:
        return [name]
    middle = min(breaks, key=lambda at: max(at, len(name) - at))
    return [name[:middle], name[middle:]]


def line(x1: int, y1: int, x2: int, y2: int, name: str) -> str:
    """Return a straight line of the class ``name``."""
    return f'<path class="{name}" d="M{x1} {y1}L{x2} {y2}"/>'


def box(x: int, y: int, width: int, height: int) -> str:
    """Return the box of a block, a comparison or an assignment."""
    return f'<rect class="box" x="{x}" y="{y}" width="{width}" height="{height}"/>'


def text(x: int, y: int, content: str, name: str, anchor: str) -> str:
    """Return a line of text of the class ``name``; nothing for an empty one."""
    if not content:
        return ""
    return (
        f'<text class="{name}" x="{x}" y="{y}" text-anchor="{anchor}" '
        f'fill="currentColor" stroke="none">{escape(content)}</text>'
    )


def value(x: int, y: int, name: str) -> str:
    """Return an empty place for the present value of a symbol or a block output."""
    if not name:
        return ""
    return (
        f'<text class="value" data-value="{escape(name)}" x="{x}" y="{y}" text-anchor="middle" '
        'fill="currentColor" stroke="none"/>'
    )


def bead(x: int, y: int) -> str:
    """Return the mark of a closed contact; the style sheet shows it while its element conducts."""
    return f'<circle class="bead" cx="{x}" cy="{y}" r="4" visibility="hidden"/>'
