"""YAML texts as data with places."""

import pytest

from server.marking.files.document import MAX_FILE_BYTES, MAX_NODES, FileFault, read_document


def refused(text: str | bytes) -> str:
    content = text if isinstance(text, bytes) else text.encode()
    with pytest.raises(FileFault) as fault:
        read_document("x.yaml", content)
    return str(fault.value)


def test_only_true_and_false_are_switches() -> None:
    document = read_document("x.yaml", b"a: on\nb: no\nc: true\nd: 7\ne: 1.5\nf:\n")
    assert document.data == {"a": "on", "b": "no", "c": True, "d": 7, "e": 1.5, "f": None}


@pytest.mark.parametrize(
    ("text", "line", "column"),
    [
        ("a:\n  - b: first word\n", 2, 14),
        ("a:\n  - b: 'first word'\n", 2, 15),
        ('a:\n  - b: "first word"\n', 2, 15),
        ("a:\n  - b: |\n      first word\n", 3, 13),
        ("a:\n  - b: >-\n      first word\n", 3, 13),
        ("a: [{b: first word}]\n", 1, 15),
    ],
)
def test_a_fault_inside_a_text_has_its_own_place(text: str, line: int, column: int) -> None:
    document = read_document("x.yaml", text.encode())
    word = document.data["a"][0]["b"].index("word") + 1
    document.fault(("a", 0, "b"), "Not so.", column=word)
    assert (document.faults[0].line, document.faults[0].column) == (line, column)
    assert document.faults[0].field == "a.1.b"


def test_a_fault_on_a_further_line_of_a_block() -> None:
    document = read_document("x.yaml", b"a:\n  b: |\n    one\n    two three\n")
    document.fault(("a", "b"), "Not so.", line=2, column=5)
    assert (document.faults[0].line, document.faults[0].column) == (4, 9)


def test_faults_are_told_in_the_order_of_the_file() -> None:
    document = read_document("x.yaml", b"a: 1\nb: 2\n")
    document.fault(("b",), "Second.")
    document.fault(("a",), "First.")
    with pytest.raises(FileFault, match=r"^x\.yaml:1:4: a: First\.\nx\.yaml:2:4: b: Second\.$"):
        document.refuse_if_faulty()


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "x.yaml:1:1: The file is empty. Write the exercise into it."),
        ("a: 1\nb: 2\na: 3\n", "x.yaml:3:1: a: 'a' stands here twice."),
        ("a:\n\tb: 1\n", "x.yaml:2:1: A tab stands where spaces belong. Indent with spaces."),
        ("a: &x 1\n", "x.yaml:1:4: a: Anchors (&) are not used here. Write the part out again."),
        ("a: *x\n", "x.yaml:1:4: This is no YAML: found undefined alias 'x'."),
        ("a: !!python/object 1\n", "x.yaml:1:4: a: '1' can't be read. Put a text into quotes."),
        ("a: .inf\n", "x.yaml:1:4: a: '.inf' can't be read. Put a text into quotes."),
        ("a: b: c\n", "x.yaml:1:5: This is no YAML: mapping values are not allowed here."),
        ("? [a]\n: 1\n", "x.yaml:1:3: ?: A key is one word or phrase, no list."),
        ("a: '\x01'\n", "x.yaml:1:1: The file holds characters that no text has. Leave them out."),
        (b"a: 1\nb: \xff\n", "x.yaml:2:1: The file is not UTF-8. Save it as UTF-8."),
        ("- " * 5000, "x.yaml:1:1: The file nests lists too deeply. Write them flat."),
        ("[" * 5000, "x.yaml:1:1: The file nests lists too deeply. Write them flat."),
        (
            "a:\n" + "- 1\n" * MAX_NODES,
            "x.yaml:9999:1: The file has more than 10000 values. Make it smaller.",
        ),
        (
            b"#" * (MAX_FILE_BYTES + 1),
            "x.yaml:1:1: The file has more than 200 kB. Make it smaller.",
        ),
    ],
)
def test_what_can_not_be_read_is_told_with_its_place(text: str | bytes, message: str) -> None:
    assert refused(text) == message
