"""The parser's hand on the tokens: where it stands, what it expects, and how it goes on.

A mistake in a construct is noted, the rest of the construct is skipped, and reading goes on after
it, so that all mistakes of a text are reported at once.
"""

from collections.abc import Callable
from typing import NoReturn, TypeVar

from server.ladder.limits import MAX_MESSAGES
from server.ladder.messages import Message, Place, ProgramError, error
from server.ladder.names import symbol_fault
from server.ladder.text_lexer import Token, TokenKind, tokenize

T = TypeVar("T")

_ENDS = {
    "VAR": "END_VAR",
    **{word: f"END_{word}" for word in ("IF", "CASE", "FOR", "WHILE", "REPEAT")},
}
_FOREIGN = {
    "'": ("A text can't be in a program.", "It has BOOL, INT and TIME only."),
    '"': ("A text can't be in a program.", "It has BOOL, INT and TIME only."),
    "{": ("A pragma can't be in a program.", "Leave it out, or put it into a comment."),
    "[": ("There are no arrays here.", "Declare a symbol for each element."),
    "^": ("There are no references here.", "Write the symbol itself."),
}


class SyntaxMistake(Exception):
    """Leaves the construct that is being read; what is wrong has been noted."""


class Cursor:
    """A text and a place in it. ``faults`` collects what is wrong with the text."""

    def __init__(self, text: str) -> None:
        read = tokenize(text)
        self._tokens, self._comments = read.tokens, read.comments
        self._at = 0
        self._start = 0
        self._comments_taken = 0
        self.faults: list[Message] = list(read.faults)

    @property
    def _token(self) -> Token:
        return self._tokens[self._at]

    @property
    def _kind(self) -> TokenKind:
        return self._token.kind

    @property
    def _before(self) -> Token:
        """The token that was taken last."""
        return self._tokens[self._at - 1]

    def _ahead(self, count: int) -> Token:
        """Return the token so many places further on; at the end of the text that."""
        return self._tokens[min(self._at + count, len(self._tokens) - 1)]

    def _here(self, *values: str) -> bool:
        token = self._token
        return token.kind in (TokenKind.KEYWORD, TokenKind.SIGN) and token.value in values

    def _next(self) -> Token:
        token = self._token
        if token.kind is not TokenKind.END:
            self._at += 1
        return token

    def _accept(self, value: str) -> bool:
        """Take a keyword or sign if it stands here."""
        found = self._here(value)
        if found:
            self._next()
        return found

    def _expect(self, value: str, where: str) -> None:
        if not self._accept(value):
            self._refuse(f"'{value}'", where)

    def _symbol(self, expected: str) -> str:
        if self._kind is not TokenKind.WORD:
            self._refuse(expected)
        fault = symbol_fault(self._token.text)
        if fault is not None:
            self._fail("symbol", self._token.place, *fault)
        return self._next().value

    # -- comments ------------------------------------------------------------------------------

    def _comments_before(self, index: int) -> list[str]:
        """Return comments not taken yet that stand before the token ``index``."""
        first = self._comments_taken
        while (
            self._comments_taken < len(self._comments)
            and self._comments[self._comments_taken].before <= index
        ):
            self._comments_taken += 1
        return [comment.text for comment in self._comments[first : self._comments_taken]]

    def _comments_behind(self) -> list[str]:
        """Return comments on the line on which the last token stands, after it."""
        first = self._comments_taken
        line = self._before.line
        while (
            self._comments_taken < len(self._comments)
            and self._comments[self._comments_taken].before == self._at
            and self._comments[self._comments_taken].line == line
        ):
            self._comments_taken += 1
        return [comment.text for comment in self._comments[first : self._comments_taken]]

    def _refuse_comments(self, text: str, fix: str) -> None:
        """Report a comment that belongs to nothing, which would be lost."""
        first = self._comments_taken
        if self._comments_before(self._at):
            self._note("comment", self._comments[first].place, text, fix)

    # -- mistakes ------------------------------------------------------------------------------

    def _note(self, rule: str, place: Place, text: str, fix: str = "") -> None:
        self.faults.append(error(rule, place, text, fix))

    def _fail(self, rule: str, place: Place, text: str, fix: str = "") -> NoReturn:
        """Note a mistake and leave the construct."""
        self._note(rule, place, text, fix)
        raise SyntaxMistake

    def _stop(self, rule: str, text: str, fix: str) -> NoReturn:
        """Note a mistake and read no further."""
        self._note(rule, self._token.place, text, fix)
        raise ProgramError(self.faults)

    def _refuse(self, expected: str, where: str = "") -> NoReturn:
        """Say what was expected and what stands here instead."""
        if self._kind is TokenKind.FOREIGN:
            self._fail("syntax", self._token.place, *_FOREIGN[self._token.text[0]])
        wanted = f"Expected {expected}{where and ' '}{where}"
        before = self._before
        if self._at > self._start and before.line < self._token.line:
            column = before.column + len(before.text)
            place = Place(line=before.line, column=column)
            self._fail("syntax", place, f"{wanted}, but the line ends after {before}.")
        self._fail("syntax", self._token.place, f"{wanted}, found {self._token}.")

    def _recovering(self, read: Callable[[], T]) -> T | None:
        """Read a construct, or skip to where the next one can begin."""
        start = self._start = self._at
        try:
            return read()
        except SyntaxMistake:
            if len(self.faults) >= MAX_MESSAGES:
                raise ProgramError(self.faults) from None
            self._skip(start)
            return None

    def _skip(self, start: int) -> None:
        opening = self._tokens[start].text.upper()
        end = _ENDS.get(opening, ";")
        if self._at > start:
            before = self._before
            only_end_missing = before.line < self._token.line
            if only_end_missing and (end == ";" or before.value == end):
                return
        # Constructs of the same kind inside it end with the same word.
        depth = sum(token.text.upper() == opening for token in self._tokens[start : self._at])
        depth -= sum(token.text.upper() == end for token in self._tokens[start : self._at])
        while not self._here("END_VAR", "END_PROGRAM") and self._kind is not TokenKind.END:
            word = self._next().text.upper()
            depth += (word == opening) - (word == end)
            if word == end and (end == ";" or depth <= 0):
                break
        if end == "END_VAR":
            self._accept(end)
        elif end != ";":
            self._accept(";")
        if self._at == start:
            self._next()
