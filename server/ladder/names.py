"""Symbols, direct addresses, requirement numbers and comments: how each may be spelt."""

import re
from collections.abc import Iterable

from server.ladder.elements import BLOCK_TYPES, WORD_BITS
from server.ladder.limits import MAX_SYMBOL_LENGTH

SYMBOL = re.compile(r"(?:[A-Za-z]|_[A-Za-z0-9])[A-Za-z0-9]*(?:_[A-Za-z0-9]+)*")
"""An identifier of IEC 61131-3: no double underscore, none at the end. Of its examples (edition 2,
table 2), ``_MAIN`` and ``_12V7`` are read in a copy of the page; the rule itself is from memory."""

KEYWORDS = frozenset(
    {"PROGRAM", "END_PROGRAM", "VAR", "RETAIN", "CONSTANT", "END_VAR", "AT"}
    | {"IF", "THEN", "ELSIF", "ELSE", "END_IF", "CASE", "OF", "FOR", "TO", "BY", "DO", "WHILE"}
    | {"REPEAT", "UNTIL", "RETURN", "EXIT", "END_FOR", "END_CASE", "END_WHILE"}
    | {"NOT", "AND", "OR", "XOR", "MOD", "TRUE", "FALSE"}
)
"""Words with a meaning of their own in the text form."""

RESERVED = KEYWORDS | frozenset(
    {"BOOL", "INT", "TIME", *BLOCK_TYPES, "FUNCTION", "FUNCTION_BLOCK", "TYPE", "STRUCT", "ARRAY"}
)
"""Words that were never a symbol, in no stored program."""

KEYWORD_TABLE = frozenset(
    RESERVED
    | {"ABSTRACT", "ACTION", "ANY", "ANY_BIT", "ANY_DATE", "ANY_DERIVED", "ANY_ELEMENTARY"}
    | {"ANY_INT", "ANY_MAGNITUDE", "ANY_NUM", "ANY_REAL", "ANY_STRING", "BYTE", "CHAR"}
    | {"CLASS", "CONFIGURATION", "CONTINUE", "DATE", "DATE_AND_TIME", "DINT", "DT", "DWORD"}
    | {"EN", "END_ACTION", "END_CLASS", "END_CONFIGURATION", "END_FUNCTION"}
    | {"END_FUNCTION_BLOCK", "END_INTERFACE", "END_METHOD", "END_NAMESPACE", "END_REPEAT"}
    | {"END_RESOURCE", "END_STEP", "END_STRUCT", "END_TRANSITION", "END_TYPE", "ENO"}
    | {"EXTENDS", "F_EDGE", "FINAL", "FROM", "IMPLEMENTS", "INITIAL_STEP", "INTERFACE"}
    | {"INTERNAL", "LDATE", "LDATE_AND_TIME", "LDT", "LINT", "LREAL", "LTIME"}
    | {"LTIME_OF_DAY", "LTOD", "LWORD", "METHOD", "NAMESPACE", "NON_RETAIN", "NULL", "ON"}
    | {"OVERLAP", "OVERRIDE", "PRIVATE", "PROTECTED", "PUBLIC", "R_EDGE", "READ_ONLY"}
    | {"READ_WRITE", "REAL", "REF", "REF_TO", "RESOURCE", "SINT", "STEP", "STRING", "SUPER"}
    | {"TASK", "THIS", "TIME_OF_DAY", "TOD", "TRANSITION", "UDINT", "UINT", "ULINT"}
    | {"USING", "USINT", "VAR_ACCESS", "VAR_CONFIG", "VAR_EXTERNAL", "VAR_GLOBAL"}
    | {"VAR_INPUT", "VAR_IN_OUT", "VAR_OUTPUT", "VAR_TEMP", "WCHAR", "WITH", "WORD"}
    | {"WSTRING"}
)
"""Words that nobody may declare: the keywords of IEC 61131-3, editions 2 and 3 (from memory),
without the names of standard functions, and the function blocks that there are here.

A symbol that was stored while RESERVED was all is still read; ``declared_fault`` refuses it anew.
"""

_BIT = re.compile(r"(?:%[Xx])?([0-9]{1,4})", re.ASCII)
"""A bit of a WORD: partial access of IEC 61131-3, edition 3, whose ``%X`` may be left out (from
memory)."""

ADDRESS = re.compile(r"%([IQM])(X|W)(0|[1-9][0-9]{0,3})(?:\.([0-9]))?")
"""Direct address: area, size, word or byte number and, for a bit, its number."""

REQUIREMENT = re.compile(r"R[0-9]{1,3}[a-z]?")
"""Number of a requirement: R1, R2a."""

SERVES = re.compile(rf"\[((?:{REQUIREMENT.pattern}(?:\s*,\s*{REQUIREMENT.pattern})*)?)\][ \t]*")
"""Requirements a rung serves, in front of its comment: ``[R1, R2a]``; ``[]`` names none."""

_INVISIBLE = re.compile("[\x00-\x1f\x7f-\x9f\ud800-\udfff]")
"""Control characters, and halves of characters that can't be stored as UTF-8."""
_HARMFUL = re.compile("[\u202a-\u202e\u2066-\u2069\ufffe\uffff]")
"""Marks that turn the reading direction, and characters that XML can't hold."""


def canonical(name: str) -> str:
    """Return the one spelling of a symbol, a block output or a bit of a WORD.

    ``Delay.q`` becomes ``delay.Q``, ``Steps.3`` and ``steps.%x03`` become ``steps.%X3``.
    """
    symbol, dot, pin = name.partition(".")
    number = _BIT.fullmatch(pin)
    return symbol.lower() + dot + (f"%X{int(number[1])}" if number else pin.upper())


def bit_of(reference: str) -> tuple[str, int] | None:
    """Return the WORD and the number of its bit that ``steps.%X3`` names; None for other names."""
    symbol, _, pin = reference.partition(".")
    number = _BIT.fullmatch(pin)
    return (symbol, int(number[1])) if number else None


def declared_fault(symbol: str) -> tuple[str, str] | None:
    """Return what is wrong with a symbol that is declared anew, or None for a good one."""
    if symbol.upper() in KEYWORD_TABLE:
        return _reserved(symbol)
    return symbol_fault(symbol)


def _reserved(symbol: str) -> tuple[str, str]:
    return (
        f"The word {shortened(symbol)} has a meaning of its own and can't be a symbol.",
        "Choose another symbol.",
    )


def symbol_fault(symbol: str) -> tuple[str, str] | None:
    """Return what is wrong with a symbol and how to fix it, or None for a good one."""
    shown = shortened(symbol)
    if symbol.upper() in RESERVED:
        return _reserved(symbol)
    if SYMBOL.fullmatch(symbol) is None:
        return (
            f"{shown} can't be a symbol.",
            "Write a letter first, then letters, digits and single underscores.",
        )
    if len(symbol) > MAX_SYMBOL_LENGTH:
        return (
            f"The symbol {shown} has {len(symbol)} characters.",
            f"Use {MAX_SYMBOL_LENGTH} at most.",
        )
    return None


def reference_fault(reference: str) -> tuple[str, str] | None:
    """Return the same for a symbol, a block output ``delay.Q`` or a bit ``steps.%X3``."""
    symbol, dot, output = reference.partition(".")
    found = bit_of(reference)
    if found is None:
        return symbol_fault(symbol) or (symbol_fault(output) if dot else None)
    if found[1] >= WORD_BITS:
        return (
            f"{shortened(reference)} names bit {found[1]}.",
            f"A WORD has the bits 0 to {WORD_BITS - 1}.",
        )
    return symbol_fault(symbol)


def driven_fault(driven: str) -> tuple[str, str] | None:
    """Return the same for what a coil drives: a symbol or a bit."""
    return reference_fault(driven) if bit_of(driven) else symbol_fault(driven)


def address_fault(address: str, data_type: str) -> tuple[str, str] | None:
    """Return what is wrong with a direct address and how to fix it, or None for a good one."""
    form = {"BOOL": ("X", "%IX0.0, %QX0.1 or %MX0.0"), "INT": ("W", "%IW2, %QW0 or %MW4")}
    if data_type not in form:
        return f"A {data_type} can't have a direct address.", "Declare it without AT."
    size, example = form[data_type]
    parts = ADDRESS.fullmatch(address)
    if parts is None or parts[2] != size or (parts[4] is None) == (size == "X"):
        return (
            f"{shortened(address)} is no direct address of {article(data_type)}.",
            f"Write it like {example}.",
        )
    if parts[4] is not None and int(parts[4]) > 7:
        return (f"The bit number in {address} is {parts[4]}.", "A byte has the bits 0 to 7.")
    return None


def full_address(address: str) -> str:
    """Return a direct address in its one spelling: ``%I0.0`` stands for ``%IX0.0``."""
    upper = address.upper()
    return f"{upper[:2]}X{upper[2:]}" if upper[2:3].isdigit() else upper


def article(noun: str) -> str:
    """Return the noun with its indefinite article: an INT, a TON."""
    return f"an {noun}" if noun in {"INT", "RS", "SR", "R_TRIG", "F_TRIG"} else f"a {noun}"


def listed(words: Iterable[str]) -> str:
    """Return words as a list in a sentence: ``a, b and c``."""
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last


def shortened(text: str, length: int = 40) -> str:
    """Text as it may stand in a message: in quotes, on one line, cut when long."""
    line = clean_line(text)
    return f"'{line}'" if len(line) <= length else f"'{line[: length - 1]}…'"


def clean_text(text: str) -> str:
    """Comment lines cleaned of control characters, harmful marks and outer space."""
    return "\n".join(_clean(line) for line in text.strip().splitlines()).strip()


def clean_line(text: str) -> str:
    """Return a comment on one line, with single spaces."""
    return " ".join(clean_text(text).split())


def _clean(line: str) -> str:
    return _HARMFUL.sub("", _INVISIBLE.sub(" ", line)).strip()
