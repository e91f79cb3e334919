"""The text form, stage one: characters to tokens and comments, each with its place."""

import re
from dataclasses import dataclass
from enum import StrEnum

from server.ladder.elements import Operator, Relation
from server.ladder.limits import MAX_MESSAGES
from server.ladder.messages import Message, Place, error
from server.ladder.names import KEYWORDS, canonical, clean_line, full_address, shortened


class TokenKind(StrEnum):
    """What a token is, in a reader's words."""

    WORD = "symbol"
    OUTPUT_OF_BLOCK = "block output"
    KEYWORD = "keyword"
    NUMBER = "number"
    LITERAL = "typed literal"
    DURATION = "duration"
    ADDRESS = "direct address"
    SIGN = "sign"
    FOREIGN = "text, pragma, index or reference"
    END = "the end of the text"


@dataclass(frozen=True, slots=True)
class Token:
    """One word or sign; ``value`` is the canonical spelling, ``text`` what was written."""

    kind: TokenKind
    value: str
    text: str
    line: int
    column: int

    @property
    def place(self) -> Place:
        return Place(line=self.line, column=self.column)

    def __str__(self) -> str:
        return str(self.kind) if self.kind is TokenKind.END else shortened(self.text)


@dataclass(frozen=True, slots=True)
class Comment:
    """A comment, and the index of the token that follows it."""

    text: str
    line: int
    column: int
    before: int

    @property
    def place(self) -> Place:
        return Place(line=self.line, column=self.column)


@dataclass(frozen=True, slots=True)
class Tokens:
    """A text taken apart. The last token is always of kind END."""

    tokens: tuple[Token, ...]
    comments: tuple[Comment, ...]
    faults: tuple[Message, ...]


_ELEMENT_SIGNS = {sign for sign in (*Relation, *Operator) if not sign.isalpha()}
_SIGNS = sorted({":=", "=>", "**", "..", *";:,()-&", *_ELEMENT_SIGNS}, key=len, reverse=True)
_TOKEN = re.compile(
    rf"""
    (?P<space>[\s\u00a0]+)
  | (?P<line_comment>//[^\n]*)
  | (?P<opening>\(\*|/\*)
  | (?P<typed>[A-Za-z_][A-Za-z0-9_]*\#[+-]?[A-Za-z0-9_.#]*)
  | (?P<name>[A-Za-z_][A-Za-z0-9_]*(?:\.(?:[A-Za-z_][A-Za-z0-9_]*|%?X?[0-9]+))?)
  | (?P<number>[0-9][A-Za-z0-9_]*(?:\#[A-Za-z0-9_]*|\.[0-9][0-9_]*(?:E[+-]?[0-9]+)?)?)
  | (?P<address>%[A-Za-z0-9.*]*)
  | (?P<foreign>'[^'\n]*'|"[^"\n]*"|\{{[^}}]{{0,200}}\}}|\[[^\]\n;]{{0,200}}\]|\^)
  | (?P<sign>{"|".join(map(re.escape, _SIGNS))})
  | (?P<strange>[^\s\x00-\x7f\u00a0]+|.)
    """,
    re.VERBOSE | re.DOTALL | re.IGNORECASE | re.ASCII,
)
_BRACKETS = {
    "(*": (re.compile(r"\(\*|\*\)"), "*)"),
    "/*": (re.compile(r"/\*|\*/"), "*/"),
}
_KINDS = {
    "number": TokenKind.NUMBER,
    "address": TokenKind.ADDRESS,
    "sign": TokenKind.SIGN,
    "foreign": TokenKind.FOREIGN,
}


def tokenize(text: str) -> Tokens:
    """Take a text apart. Characters that belong nowhere are left out and reported."""
    text = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    tokens: list[Token] = []
    comments: list[Comment] = []
    faults: list[Message] = []
    line, line_start = 1, 0
    at = 0
    while match := _TOKEN.match(text, at):
        kind, written = str(match.lastgroup), match[0]
        start, column = at, at - line_start + 1
        if kind == "opening":
            end = _end_of_comment(text, at)
            if end is None:
                faults.append(
                    error(
                        "syntax",
                        Place(line=line, column=column),
                        "The comment that begins here is not closed.",
                        f"Close it with '{_BRACKETS[written][1]}'.",
                    )
                )
                break
            written = text[at:end]
        at += len(written)
        if kind in ("opening", "line_comment"):
            content = written[2:-2] if kind == "opening" else written[2:]
            comments.append(Comment(content, line, column, len(tokens)))
        elif kind == "strange":
            if len(faults) == MAX_MESSAGES:
                break
            faults.append(
                error(
                    "syntax",
                    Place(line=line, column=column),
                    f"{_named(written)} can't stand here.",
                    "Leave it out, or put it into a comment.",
                )
            )
        elif kind != "space":
            tokens.append(_token(kind, written, line, column))
        newlines = written.count("\n")
        if newlines:
            line += newlines
            line_start = start + written.rindex("\n") + 1
    tokens.append(Token(TokenKind.END, "", "", line, len(text) - line_start + 1))
    return Tokens(tuple(tokens), tuple(comments), tuple(faults))


def _end_of_comment(text: str, start: int) -> int | None:
    """Return where the comment that begins at ``start`` ends, with those inside it.

    None if open.
    """
    brackets, closing = _BRACKETS[text[start : start + 2]]
    depth = 0
    at = start
    while found := brackets.search(text, at):
        depth += -1 if found[0] == closing else 1
        at = found.end()
        if depth == 0:
            return at
    return None


def _named(written: str) -> str:
    """Signs in quotes; those that nobody would see by their number."""
    if clean_line(written):
        return shortened(written)
    return f"The invisible sign U+{ord(written[0]):04X}"


def _token(kind: str, written: str, line: int, column: int) -> Token:
    if kind == "name":
        if written.upper() in KEYWORDS:
            return Token(TokenKind.KEYWORD, written.upper(), written, line, column)
        named = TokenKind.OUTPUT_OF_BLOCK if "." in written else TokenKind.WORD
        return Token(named, canonical(written), written, line, column)
    if kind == "typed":
        of_time = written.partition("#")[0].upper() in ("T", "TIME")
        named = TokenKind.DURATION if of_time else TokenKind.LITERAL
        return Token(named, written, written, line, column)
    if written == "&":
        return Token(TokenKind.KEYWORD, "AND", written, line, column)
    value = full_address(written) if kind == "address" else written
    return Token(_KINDS[kind], value, written, line, column)
