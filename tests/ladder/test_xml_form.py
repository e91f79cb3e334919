"""The XML of IEC 61131-10: identities, names of the standard, refusals with their place."""

import re
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.ladder.elements import ContactKind
from server.ladder.messages import ProgramError
from server.ladder.program import Contact, Program
from server.ladder.series_parallel import Fed, NotSeriesParallel, network_of, without_idle_wires
from server.ladder.text_form import parse_network, parse_program
from server.ladder.text_printer import print_network
from server.ladder.xml_reader import read_xml
from server.ladder.xml_tree import MAX_XML_BYTES, MAX_XML_DEPTH, Node, parse_xml
from server.ladder.xml_writer import write_xml
from tests.strategies import programs

SUMP = """PROGRAM apple_sump
VAR
    start_pb AT %IX0.0 : BOOL;  // Start push-button
    stop_pb AT %IX0.1 : BOOL;
    level AT %IW2 : INT;
    fill_pump AT %QX0.0 : BOOL;
    lamp AT %QX0.1 : BOOL;
    n : INT := 3;
    delay : TON;
    parts : CTU;
END_VAR
VAR RETAIN
    running : BOOL := TRUE;
END_VAR

// [R1, R2a] The fill pump seals in.
// A second line.
fill_pump := (start_pb OR fill_pump) AND stop_pb AND NOT running;

lamp := (start_pb OR TRUE) AND (stop_pb AND (RISING(lamp) OR running) OR level > 500);

IF start_pb AND delay(PT := T#5s) THEN running := FALSE; n := n + 1; n := 4; END_IF;

FALLING(stop_pb) AND parts(R := NOT start_pb, PV := 5);

lamp := TRUE;

;
END_PROGRAM
"""


def test_a_program_comes_back_as_it_was() -> None:
    program = parse_program(SUMP)
    carried = read_xml(write_xml(program))
    assert carried.program == program
    assert carried.notes == ()


@settings(max_examples=200, deadline=None)
@given(programs(max_rungs=4, max_depth=3))
def test_program_to_xml_to_program_is_the_identity(program: Program) -> None:
    rungs = tuple(replace(r, network=without_idle_wires(r.network)) for r in program.rungs)
    assert read_xml(write_xml(program)).program == replace(program, rungs=rungs)


@pytest.mark.parametrize(
    "network",
    [
        "(TRUE OR lamp) AND (TRUE OR running)",
        "TRUE OR (TRUE OR lamp) AND (TRUE OR running) AND stop_pb",
        "((TRUE OR lamp) AND (TRUE OR stop_pb) OR (TRUE OR running) AND (TRUE OR lamp)) AND lamp",
        "lamp AND ((TRUE OR lamp) AND (TRUE OR stop_pb) OR (TRUE OR running) AND (TRUE OR lamp))",
    ],
)
def test_branches_that_always_conduct_come_back(network: str) -> None:
    program = parse_program(SUMP.replace("(start_pb OR fill_pump)", f"({network})"))
    assert read_xml(write_xml(program)).program == program


@pytest.mark.parametrize(
    "value",
    [
        "(" * 6 + "n" + " + 1) * 2" * 6,
        "SHL(" * 12 + "w" + ", 1)" * 12,
        "NOT (" * 6 + "w" + ")" * 6,
        "WORD_TO_INT(SHL(INT_TO_WORD(" * 4 + "n" + "), 1))" * 4,
    ],
)
def test_the_longest_formulas_come_back(value: str) -> None:
    target = "w" if value.startswith(("SHL", "NOT")) else "n"
    declared = "PROGRAM a VAR n : INT; w : WORD; END_VAR"
    program = parse_program(f"{declared} IF TRUE THEN {target} := {value}; END_IF; END_PROGRAM")
    assert read_xml(write_xml(program)).program == program


def test_a_rung_of_many_connections_is_refused() -> None:
    """Each contact is fed from the ninety before it: its end would be drawn ninety times."""
    contacts = "".join(
        LOOSE.replace("loose", f"c{n}").replace(
            '<Connection refConnectionPointOutId="1"/>',
            "".join(
                f'<Connection refConnectionPointOutId="c{k}"/>' for k in range(max(0, n - 90), n)
            )
            or '<Connection refConnectionPointOutId="1"/>',
        )
        for n in range(190)
    )
    coil = '<LdObject xsi:type="Coil" operand="lamp"><ConnectionPointIn>'
    ends = "".join(f'<Connection refConnectionPointOutId="c{n}"/>' for n in range(100, 190))
    rung = f"{RAIL}{contacts}{coil}{ends}</ConnectionPointIn></LdObject></Rung>"
    head, _, tail = GOOD.partition("<Rung ")
    text = f'{head}<Rung evaluationOrder="1">{rung}{tail[tail.index("</BodyContent>") :]}'
    with pytest.raises(ProgramError, match="cross over"):
        read_xml(text.encode())


def test_more_joints_than_a_tree_has_are_refused_before_they_are_reduced() -> None:
    lamp = Contact(ContactKind.OPEN, "lamp")
    count = range(20)
    fed = [
        *(Fed(lamp, ("rail",), f"a{n}") for n in count),
        *(Fed(lamp, (f"a{n}",), f"b{n}") for n in count),
        *(Fed(lamp, tuple(f"a{k}" for k in count if k != n), f"c{n}") for n in count),
    ]
    last = tuple(f"{name}{n}" for name in "bc" for n in count)
    with pytest.raises(NotSeriesParallel, match="more ways than a tree has"):
        network_of("rail", fed, last)


def test_only_a_wire_beside_what_conducts_is_left_out() -> None:
    def simplified(text: str) -> str:
        return print_network(without_idle_wires(parse_network(text)))

    assert simplified("(TRUE OR a OR TRUE) AND b") == "(TRUE OR a) AND b"
    assert simplified("a AND (TRUE OR TRUE)") == "a"
    assert simplified("TRUE OR (TRUE OR a) AND (TRUE OR b)") == "(TRUE OR a) AND (TRUE OR b)"
    assert simplified("(a OR TRUE) AND (b AND c OR TRUE)") == "(a OR TRUE) AND (b AND c OR TRUE)"


def test_a_rung_as_other_tools_write_it() -> None:
    """The rail has an end for each wire; comments are objects beside the others, or documentation.

    So it is in excerpts of files in the standard's namespace in public repositories.
    """
    start, rung, end = re.split(r"(<Rung.*?</Rung>)", GOOD, maxsplit=1, flags=re.DOTALL)
    begins, out = '<Rung evaluationOrder="1">', '<ConnectionPointOut connectionPointOutId="1" />'
    assert rung.count('refConnectionPointOutId="1"') == 2
    head, _, tail = rung.replace(out, out + out.replace("1", "99")).rpartition('OutId="1"')
    other = f'{head}OutId="99"{tail}'.replace(
        begins, f'{begins}<Documentation xsi:type="SimpleText">Above it.</Documentation>'
    )
    first, *others = read_xml(f"{start}{other}{end}".encode()).program.rungs
    written = parse_program(SUMP).rungs
    comment = "Above it.\n[R1, R2a] The fill pump seals in.\nA second line."
    assert first == replace(written[0], comment=comment, serves=())
    assert tuple(others) == written[1:]


def test_names_of_the_standard() -> None:
    """Root, children and namespace: contents listing of BS EN IEC 61131-10:2019.

    Ladder objects, their types and attributes: excerpts of files in that namespace in public
    repositories; ``latch`` of coils from memory (Annex A).
    """
    root = parse_xml(write_xml(parse_program(SUMP)))
    assert (root.name, root.namespace) == ("Project", "www.iec.ch/public/TC65SC65BWG7TF10")
    headers = [child.name for child in root.children]
    assert headers == ["FileHeader", "ContentHeader", "Types", "Instances"]
    seen = {(n.name, n.attributes.get("type")) for n in _walk(root)}
    assert {
        ("BodyContent", "LD"),
        ("LdObject", "LeftPowerRail"),
        ("LdObject", "Contact"),
        ("LdObject", "Coil"),
        ("LdObject", "RightPowerRail"),
        ("FbdObject", "Block"),
        ("FbdObject", "DataSource"),
        ("FbdObject", "DataSink"),
        ("CommonObject", "Comment"),
        ("Content", "SimpleText"),
    } <= seen


def _walk(node: Node) -> Iterator[Node]:
    yield node
    for child in node.children:
        yield from _walk(child)


GOOD = write_xml(parse_program(SUMP)).decode()

RAIL = """<LdObject xsi:type="LeftPowerRail">
                <ConnectionPointOut connectionPointOutId="1" />
              </LdObject>"""
LOOSE = (
    '<LdObject xsi:type="Contact" operand="lamp"><ConnectionPointIn><Connection '
    'refConnectionPointOutId="1"/></ConnectionPointIn>'
    '<ConnectionPointOut connectionPointOutId="loose"/></LdObject>'
)
MANY = "".join(LOOSE.replace("loose", f"loose{n}") for n in range(300))

BROKEN = {
    "empty": ("", "not well-formed"),
    "truncated": (GOOD[: len(GOOD) // 2], "not well-formed"),
    "text": ("fill_pump := start_pb;", "not well-formed"),
    "document type": ("<!DOCTYPE a>" + GOOD.partition("?>")[2], "document type"),
    "entity bomb": (
        '<!DOCTYPE a [<!ENTITY b "bbbb"><!ENTITY c "&b;&b;">]><a>&c;</a>',
        "document type",
    ),
    "outside entity": (
        '<!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/passwd">]><a>&b;</a>',
        "document type",
    ),
    "undefined entity": (GOOD.replace("A second line.", "&b;"), "not well-formed"),
    "another root": ("<Program/>", "not a Project"),
    "another namespace": (GOOD.replace("TC65SC65BWG7TF10", "other"), "not a Project"),
    "no program": (f"{GOOD.partition('<Types>')[0]}</Project>", "0 programs"),
    "no ladder": (GOOD.replace('xsi:type="LD"', 'xsi:type="SFC"'), "no ladder diagram"),
    "unknown object": (GOOD.replace('xsi:type="Coil"', 'xsi:type="Dial"', 1), "'Dial'"),
    "unknown common object": (
        GOOD.replace('xsi:type="Comment"', 'xsi:type="Connector"', 1),
        "'Connector'",
    ),
    "unknown child": (GOOD.replace("<MainBody>", "<Macro/><MainBody>", 1), "'Macro'"),
    "unknown block": (GOOD.replace('typeName="TON"', 'typeName="PID"'), "'PID'"),
    "block not declared": (GOOD.replace('instanceName="delay"', 'instanceName="d2"'), "'d2'"),
    "another block type": (GOOD.replace('typeName="TON"', 'typeName="TP"'), "not declared as TP"),
    "unknown type": (GOOD.replace(">INT<", ">LREAL<", 1), "'LREAL'"),
    "no type": (GOOD.replace("<TypeName>INT</TypeName>", "", 1), "type ''"),
    "bad address": (GOOD.replace('address="%IX0.0"', 'address="I:0/0"'), "I:0/0"),
    "markup in a symbol": (GOOD.replace('operand="lamp"', 'operand="&lt;b&gt;"'), "<b>"),
    "markup in a name": (GOOD.replace('name="lamp"', 'name="&lt;b&gt;"'), "<b>"),
    "a keyword": (GOOD.replace('name="lamp"', 'name="TRUE"'), "true"),
    "two edges": (GOOD.replace('edge="rising"', 'edge="rising" negated="true"'), "contact with"),
    "coil for a rising edge": (
        GOOD.replace('latch="reset"', 'edge="rising"'),
        "A coil for a rising edge can't be carried. Put a block of type R_TRIG in front of a plain",
    ),
    "coil for a falling edge": (
        GOOD.replace('latch="reset"', 'edge="falling"'),
        "A coil for a falling edge can't be carried. Put a block of type F_TRIG in front of a",
    ),
    "unknown latch": (GOOD.replace('latch="reset"', 'latch="maybe"'), "coil with"),
    "nothing leads here": (
        GOOD.replace('<Connection refConnectionPointOutId="1" />', "", 1),
        "Nothing leads",
    ),
    "leads nowhere": (
        GOOD.replace('<ConnectionPointOut connectionPointOutId="2" />', "", 1),
        "leads nowhere",
    ),
    "end that is not there": (
        GOOD.replace('refConnectionPointOutId="2"', 'refConnectionPointOutId="77"', 1),
        "leads nowhere",
    ),
    "no evaluation order": (GOOD.replace('evaluationOrder="2"', ""), "evaluation order"),
    "order is a word": (GOOD.replace('evaluationOrder="2"', 'evaluationOrder="b"'), "order"),
    "no operand": (GOOD.replace('operand="lamp"', "", 1), "'operand'"),
    "no identity": (GOOD.replace('connectionPointOutId="2"', "", 1), "connectionPointOutId"),
    "preset is a name": (GOOD.replace('identifier="T#5s"', 'identifier="5 seconds"'), "seconds"),
    "code for a preset": (
        GOOD.replace('identifier="T#5s"', 'identifier="T#5s) AND a("'),
        "Expected the end",
    ),
    "initial is no literal": (GOOD.replace('value="3"', 'value="x"'), "no initial value"),
    "initial is out of range": (GOOD.replace('value="3"', 'value="40000"'), "40000"),
    "code in an initial": (GOOD.replace('value="3"', 'value="3; y : BOOL"'), "is no value"),
    "comparison without input": (GOOD.replace('parameterName="IN2"', 'parameterName="X"'), "'X'"),
    "input that the block has not": (
        GOOD.replace('parameterName="CU"', 'parameterName="X"'),
        "input 'X'",
    ),
    "block without power": (
        re.sub(r'<InputVariable parameterName="CU">.*?</InputVariable>', "", GOOD, flags=re.DOTALL),
        "no power at CU",
    ),
    "input wired twice": (GOOD.replace('parameterName="R"', 'parameterName="PV"'), "'PV'"),
    "third addend": (
        GOOD.replace(
            '<InputVariable parameterName="IN2">',
            '<InputVariable parameterName="IN3"/><InputVariable parameterName="IN2">',
        ),
        "'IN3'",
    ),
    "negated power": (
        GOOD.replace('parameterName="CU"', 'parameterName="CU" negated="true"'),
        "negated 'CU'",
    ),
    "negated number": (
        GOOD.replace('parameterName="IN1"', 'parameterName="IN1" negated="true"'),
        "negated 'IN1'",
    ),
    "negated output": (
        GOOD.replace('parameterName="OUT"', 'parameterName="OUT" negated="true"'),
        "attribute 'negated'",
    ),
    "unknown attribute": (
        GOOD.replace('operand="lamp"', 'operand="lamp" delay="5"', 1),
        "attribute 'delay'",
    ),
    "contact that leads nowhere": (
        GOOD.replace(RAIL, RAIL + LOOSE, 1),
        "leads nowhere",
    ),
    "result that is not assigned": (
        re.sub(r'<FbdObject xsi:type="DataSink".*?</FbdObject>', "", GOOD, flags=re.DOTALL),
        "leads nowhere",
    ),
    "two ends of one name": (
        GOOD.replace('connectionPointOutId="3"', 'connectionPointOutId="2"', 1),
        "there twice",
    ),
    "unknown part of the file": (GOOD.replace("<Instances", "<Plant /><Instances"), "'Plant'"),
    "more elements than a rung can have": (
        GOOD.replace(RAIL, RAIL + MANY, 1),
        "more than 200 elements",
    ),
    "block without output": (GOOD.replace('parameterName="Q"', 'parameterName="X"'), "output Q"),
    "nothing assigned": (GOOD.replace('typeName="ADD"', 'typeName="TAN"'), "'TAN'"),
}


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_file_is_refused_with_its_place(name: str) -> None:
    text, said = BROKEN[name]
    assert text != GOOD, "the file is really broken"
    with pytest.raises(ProgramError) as refusal:
        read_xml(text.encode())
    message = refusal.value.messages[0]
    assert said in str(refusal.value)
    assert message.place.line is not None
    assert message.fix


def test_another_encoding_is_read_and_a_false_one_refused() -> None:
    program = parse_program(SUMP)
    latin = write_xml(program).decode().replace("utf-8", "iso-8859-1").encode("iso-8859-1")
    assert read_xml(latin).program == program
    with pytest.raises(ProgramError, match="not well-formed"):
        read_xml(write_xml(program) + b"\xff\xfe")
    for false in ("klingon", "utf-7", "shift_jis", "base64", "idna", "undefined"):
        with pytest.raises(ProgramError, match="encoding is not known"):
            read_xml(GOOD.replace("utf-8", false).encode())


def test_size_and_depth_are_bounded() -> None:
    with pytest.raises(ProgramError, match=f"{MAX_XML_BYTES} are possible"):
        read_xml(b" " * (MAX_XML_BYTES + 1))
    deep = "<a>" * (MAX_XML_DEPTH + 1) + "</a>" * (MAX_XML_DEPTH + 1)
    with pytest.raises(ProgramError, match=f"more than {MAX_XML_DEPTH} deep"):
        read_xml(deep.encode())


def test_wires_that_cross_over_are_refused() -> None:
    """A bridge: five contacts that no series and parallel branches can make."""
    contacts = [("a", "1", "2"), ("b", "1", "3"), ("c", "2", "4"), ("d", "3", "5")]
    objects = "".join(
        f'<LdObject xsi:type="Contact" operand="{name}"><ConnectionPointIn>'
        f'<Connection refConnectionPointOutId="{end}"/></ConnectionPointIn>'
        f'<ConnectionPointOut connectionPointOutId="{own}"/></LdObject>'
        for name, end, own in contacts
    )
    bridge = (
        '<LdObject xsi:type="Contact" operand="e"><ConnectionPointIn>'
        '<Connection refConnectionPointOutId="2"/><Connection refConnectionPointOutId="5"/>'
        '</ConnectionPointIn><ConnectionPointOut connectionPointOutId="6"/></LdObject>'
        '<LdObject xsi:type="Coil" operand="y"><ConnectionPointIn>'
        '<Connection refConnectionPointOutId="6"/><Connection refConnectionPointOutId="4"/>'
        "</ConnectionPointIn></LdObject>"
    )
    names = "".join(
        f'<Variable name="{n}"><Type><TypeName>BOOL</TypeName></Type></Variable>' for n in "abcdey"
    )
    head, _, tail = GOOD.partition("<Vars")
    rail = (
        '<LdObject xsi:type="LeftPowerRail">'
        '<ConnectionPointOut connectionPointOutId="1"/></LdObject>'
    )
    text = (
        f'{head}<Vars>{names}</Vars><MainBody><BodyContent xsi:type="LD">'
        f'<Rung evaluationOrder="1">{rail}{objects}{bridge}</Rung></BodyContent></MainBody>'
        f"{tail[tail.index('</Program>') :]}"
    )
    with pytest.raises(ProgramError, match="cross over"):
        read_xml(text.encode())


def test_what_is_not_carried_is_noted() -> None:
    text = (
        GOOD.replace(
            "<ConnectionPointIn>",
            '<RelPosition x="1" y="2" /><Documentation>here</Documentation><ConnectionPointIn>',
            2,
        )
        .replace("<Vars ", '<Vars constant="true" ', 1)
        .replace("<Instances />", "<Instances><AddData><Size /></AddData></Instances>")
        .replace("<Rung ", '<Rung globalId="r7" ')
    )
    carried = read_xml(text.encode())
    assert carried.program == parse_program(SUMP)
    lines = text.splitlines()
    assert [lines[(note.place.line or 0) - 1].split()[0] for note in carried.notes] == [
        "<Vars",
        "<RelPosition",
        "<RelPosition",
        "<Instances><AddData><Size",
    ]
    assert [re.sub(r"^Line \d+: ", "", str(note)) for note in carried.notes] == [
        "The attribute 'constant' of Vars is not carried.",
        "Positions are not carried; rungs are laid out anew (2 times).",
        "Comments are carried on the program, on variables and on rungs only (2 times).",
        "Additional data of other tools are not carried.",
    ]


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_spoilt_files_are_read_or_refused(data: st.DataObject) -> None:
    spoilt = bytearray(GOOD.encode())
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(spoilt) - 1))
        spoilt[at] = data.draw(st.integers(32, 126))
    with suppress(ProgramError):
        read_xml(bytes(spoilt))
