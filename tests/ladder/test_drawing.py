"""The drawing: complete, well-formed, nothing over anything else, wires live in time."""

from xml.etree import ElementTree

from hypothesis import given
from hypothesis import strategies as st

from server.ladder.description import describe_item, describe_output, describe_rung
from server.ladder.drawing import draw_operable_rung, draw_rung, draw_rungs
from server.ladder.drawing_layout import RungLayout, lay_out
from server.ladder.drawing_symbols import Symbols
from server.ladder.program import Parallel, Path, Program, Rung, Series, walk
from server.ladder.text_form import parse_program, parse_rung
from server.ladder.text_printer import print_element, print_output
from tests.ladder.test_text_form import CANONICAL
from tests.strategies import programs

SVG = "{http://www.w3.org/2000/svg}"


def layouts(program: Program) -> list[tuple[Rung, RungLayout]]:
    symbols = Symbols(program)
    return [(rung, lay_out(rung, symbols, 8, 8, 400)) for rung in program.rungs]


def attributes(drawing: ElementTree.Element, name: str) -> list[str]:
    return [value for node in drawing.iter() if (value := node.get(name)) is not None]


@given(programs())
def test_every_element_and_output_is_drawn_once(program: Program) -> None:
    for index, (rung, svg) in enumerate(zip(program.rungs, draw_rungs(program), strict=True)):
        drawing = ElementTree.fromstring(svg)
        paths = [f"{index}:{'.'.join(map(str, path))}" for path, _ in walk(rung.network)]
        assert attributes(drawing, "data-path") == paths
        outputs = [f"{index}:{number}" for number in range(len(rung.outputs))]
        assert attributes(drawing, "data-output") == outputs
        sources = {source for wire in attributes(drawing, "data-wire") for source in wire.split()}
        assert sources == {"rail", *paths}


@given(programs())
def test_the_title_and_the_description_tell_the_rung(program: Program) -> None:
    for index, (rung, svg) in enumerate(zip(program.rungs, draw_rungs(program), strict=True)):
        drawing = ElementTree.fromstring(svg)
        assert drawing.get("role") == "img"
        assert drawing.findtext(f"{SVG}title") == f"Rung {index + 1}"
        assert drawing.findtext(f"{SVG}desc") == describe_rung(rung, program)
        labels = [drawing.find(f"{SVG}{name}") for name in ("title", "desc")]
        ids = " ".join(str(label.get("id")) for label in labels if label is not None)
        assert drawing.get("aria-labelledby") == ids


@given(programs())
def test_a_rung_to_work_on_has_a_button_for_each_element_and_output(program: Program) -> None:
    for rung in program.rungs:
        drawing = ElementTree.fromstring(draw_operable_rung(rung, program))
        buttons = [node for node in drawing.iter() if node.get("role") == "button"]
        told = [(b.get("data-text"), b.get("aria-label")) for b in buttons]
        assert told == [
            *((print_element(e), describe_item(e, program)) for _, e in walk(rung.network)),
            *((print_output(o), describe_output(o, program)) for o in rung.outputs),
        ]
        paths = [".".join(map(str, path)) for path, _ in walk(rung.network)]
        assert attributes(drawing, "data-path") == paths
        numbers = [str(number) for number in range(len(rung.outputs))]
        assert attributes(drawing, "data-output") == numbers
        assert attributes(drawing, "data-rung") == []


@given(programs())
def test_no_two_cells_overlap_and_all_stand_between_the_rails(program: Program) -> None:
    for _, layout in layouts(program):
        placed = [(e.x, e.y, e.size) for e in layout.elements]
        placed += [(o.x, o.y, o.size) for o in layout.outputs]
        cells = [(x, y - size.up, x + size.width, y + size.down) for x, y, size in placed]
        for number, (left, top, right, bottom) in enumerate(cells):
            assert layout.left <= left < right <= layout.right
            assert layout.top <= top < bottom <= layout.bottom
            for other in cells[:number]:
                assert (
                    left >= other[2] or right <= other[0] or top >= other[3] or bottom <= other[1]
                )


def power(network: Series, closed: set[Path], arriving: bool, at: Path, out: dict[Path, bool],
          reached: dict[Path, bool]) -> bool:  # fmt: skip
    """Which elements power reaches and leaves, worked out plainly."""
    for i, item in enumerate(network.items):
        path = (*at, i)
        if isinstance(item, Parallel):
            branches = [
                power(branch, closed, arriving, (*path, j), out, reached)
                for j, branch in enumerate(item.branches)
            ]
            arriving = any(branches)
        else:
            reached[path] = arriving
            arriving = out[path] = arriving and path in closed
    return arriving


@given(programs(), st.data())
def test_a_wire_is_live_when_power_comes_to_it(program: Program, data: st.DataObject) -> None:
    symbols = Symbols(program)
    for rung, layout in layouts(program):
        paths = [path for path, _ in walk(rung.network)]
        closed = {path for path in paths if data.draw(st.booleans())}
        out: dict[Path, bool] = {}
        reached: dict[Path, bool] = {}
        driven = power(rung.network, closed, True, (), out, reached)
        live = {
            (wire.x2, wire.y2): any(source is None or out[source] for source in wire.sources)
            for wire in layout.wires
        }
        for placed in layout.elements:
            enters, _ = symbols.terminals(placed.element, placed.size)
            assert live[placed.x + enters, placed.y] == reached[placed.path]
        for coil in layout.outputs:
            enters, _ = symbols.output_terminals(coil.output, coil.size)
            assert live[coil.x + enters, coil.y] == driven


def test_text_is_escaped_and_nothing_is_styled_in_line() -> None:
    program = parse_program(CANONICAL)
    rung = parse_rung("// <script>alert('x')</script> & \"so\" on\nlamp := level <= 3 AND a <> b;")
    svg = draw_rung(rung, program, 0)
    assert "<script" not in svg
    assert "level &lt;= 3" in svg
    assert "style" not in svg
    ElementTree.fromstring(svg)


def test_a_page_can_leave_out_margin_and_comment() -> None:
    program = parse_program(CANONICAL)
    full = ElementTree.fromstring(draw_rung(program.rungs[0], program, 0))
    bare = ElementTree.fromstring(draw_rung(program.rungs[0], program, 0, margin=False))
    classes = {"comment", "number", "serves"}
    assert classes <= set(attributes(full, "class"))
    assert not classes & set(attributes(bare, "class"))


def test_names_addresses_operands_and_places_for_values() -> None:
    program = parse_program(
        "PROGRAM p VAR labeller_accumulation_full AT %IX1.0 : BOOL; delay : TON; n : INT; END_VAR "
        "n := labeller_accumulation_full AND delay(PT := T#5s) AND n > 3; END_PROGRAM"
    )
    drawing = ElementTree.fromstring(draw_rungs(program)[0])
    words = [node.text for node in drawing.iter(f"{SVG}text") if node.text]
    assert words == [
        "1", "accumulation_full", "labeller_", "%IX1.0",
        "delay", "TON", "IN", "Q", "PT", "ET", "T#5s", "n > 3", "n",
    ]  # fmt: skip
    assert attributes(drawing, "data-value") == ["delay.ET", "n"]


def test_a_cell_takes_the_pointer_wherever_its_element_is_drawn() -> None:
    program = parse_program(CANONICAL)
    for rung in program.rungs:
        for group in ElementTree.fromstring(draw_rung(rung, program, 0)).iter(f"{SVG}g"):
            [cell] = [node for node in group if node.get("class") == "cell"]
            top = int(cell.attrib["y"])
            bottom = top + int(cell.attrib["height"])
            drawn = [int(node.attrib["y"]) for node in group.iter(f"{SVG}text")]
            drawn += [int(node.attrib["cy"]) for node in group.iter(f"{SVG}circle")]
            assert drawn
            assert all(top <= y <= bottom for y in drawn)


def test_an_undeclared_block_is_drawn_all_the_same() -> None:
    rung = parse_rung("lamp := ghost(PT := T#5s, R := NOT x);")
    svg = draw_rung(rung, Program("p"), 0)
    assert ">?</text>" in svg
    assert ">T#5s</text>" in svg
