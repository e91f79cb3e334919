"""Programs in the text form with one mistake each, and what is said of it with which place."""

GOOD = """PROGRAM wash_sump
VAR
    start_pb AT %IX0.0 : BOOL;  // Start push-button
    stop_pb AT %IX0.1 : BOOL;
    fill_pump AT %QX0.0 : BOOL;
    lamp AT %QX0.1 : BOOL;
    n : INT := 3;
    delay : TON;
END_VAR

// [R1] The fill pump seals in.
fill_pump := (start_pb OR fill_pump) AND stop_pb;

IF start_pb AND delay(PT := T#5s) THEN lamp := TRUE; n := n + 1; END_IF;
END_PROGRAM
"""


def _instead(old: str, new: str) -> bytes:
    assert old in GOOD, old
    return GOOD.replace(old, new, 1).encode()


BROKEN: dict[str, tuple[bytes, str, str]] = {
    "empty": (b"", "Line 1, column 1", "PROGRAM"),
    "cut off in a rung": (GOOD[: GOOD.index("AND stop_pb") + 6].encode(), "Line 12", "Expected"),
    "cut off in the declarations": (GOOD[: GOOD.index("lamp AT")].encode(), "Line 6", "END_VAR"),
    "no end": (_instead("END_PROGRAM\n", ""), "Line 15", "END_PROGRAM"),
    "something after the end": (GOOD.encode() + b"lamp := n;", "Line 16, column 1", "goes on"),
    "two programs": (GOOD.encode() * 2, "Line 16, column 1", "goes on"),
    "prose": (b"Dear lab, my program is on the other machine.", "Line 1, column 1", "PROGRAM"),
    "picture": (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "Line 1, column 1", "UTF-8"),
    "Latin-1": (GOOD.replace("Start", "Démarrer").encode("latin-1"), "Line 3, column 37", "UTF-8"),
    "UTF-16": (GOOD.encode("utf-16"), "Line 1, column 1", "UTF-8"),
    "UTF-16 without a mark": (GOOD.encode("utf-16-le"), "Line 1, column 1", "found"),
    "half a character": (GOOD.encode() + b"\xc3", "Line 16, column 1", "UTF-8"),
    "NUL": (_instead("n := n + 1", "n := \x00 + 1"), "Line 14, column 59", "U+0000"),
    "comment that is not closed": (_instead("// [R1]", "(* [R1]"), "Line 11, column 1", "closed"),
    "unknown type": (_instead("n : INT", "n : LREAL"), "Line 7", "LREAL"),
    "address of another spelling": (_instead("%IX0.0", "I:0/0"), "Line 3", "Expected"),
    "address of no area": (_instead("%IX0.0", "%ZX0.0"), "Line 3", "%ZX0.0"),
    "value out of range": (_instead(":= 3", ":= 40000"), "Line 7", "40000"),
    "value of another type": (_instead(":= 3", ":= T#3s"), "Line 7, column 16", "initial value"),
    "symbol with two underscores": (_instead("stop_pb AT", "stop__pb AT"), "Line 4", "stop__pb"),
    "keyword as a symbol": (_instead("n : INT", "TRUE : INT"), "Line 7, column 5", "'TRUE'"),
    "statement of another kind": (
        _instead("IF start_pb", "WHILE start_pb"),
        "Line 14, column 1",
        "'WHILE'",
    ),
    "exclusive or of an edge": (
        _instead("start_pb OR", "RISING(start_pb) XOR"),
        "Line 12, column 15",
        "RISING(start_pb)",
    ),
    "bracket that is not closed": (
        _instead("fill_pump) AND", "fill_pump AND"),
        "Line 12, column 48",
        "Expected ')'",
    ),
    "no semicolon": (_instead("AND stop_pb;", "AND stop_pb"), "Line 12, column 49", "Expected ';'"),
    "duration of nothing": (_instead("T#5s", "T#"), "Line 14", "T#"),
    "edge of a network": (
        _instead("stop_pb;", "RISING(stop_pb AND n);"),
        "Line 12, column 42",
        "RISING takes one symbol. For the edge of a network put a block of type R_TRIG",
    ),
    "deep nesting": (
        _instead("stop_pb;", f"{'(' * 2000}stop_pb{')' * 2000};"),
        "Line 12, column 55",
        "More than 12 parentheses",
    ),
    "nesting of parallels": (
        _instead("stop_pb;", f"{'(stop_pb OR (lamp AND ' * 40}lamp{'))' * 40};"),
        "Line 12",
        "More than 12 parentheses",
    ),
    "more elements than a rung can have": (
        _instead("stop_pb;", f"{' AND '.join(['stop_pb'] * 400)};"),
        "Line 12, column 1",
        "At most 200",
    ),
    "more rungs than there can be": (
        _instead("END_PROGRAM", ";\n" * 500 + "END_PROGRAM"),
        "Line 413, column 1",
        "more than 400 rungs",
    ),
    "more variables than there can be": (
        _instead("n : INT", "".join(f"v{i} : BOOL;\n" for i in range(500)) + "n : INT"),
        "Line 403, column 1",
        "more than 400 variables",
    ),
}
