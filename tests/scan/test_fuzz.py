"""Texts that went wrong somewhere: each is refused with messages, or runs like the reference."""

import re
from random import Random

from hypothesis import event, given, note, settings
from hypothesis import strategies as st

from server.ladder.messages import ProgramError
from server.ladder.program import Program
from server.ladder.text_form import parse_program, print_program
from server.ladder.validation import errors
from tests.scan.crowded import crowded
from tests.scan.test_kernel import check

_TOKENS = re.compile(r"\s+|%[A-Z0-9.]+|T#\w+|[\w.]+|:=|<=|>=|<>|.", re.DOTALL)
_STRAY = ["AND", "OR", "NOT", "TRUE", ";", "(", ")", ":=", "x", "n", "f0", "f1.Q", "f2.ET", "7",
          "T#1s", "RISING", "a", "level", "pause", "-", "<", "END_IF", "%QX0.0", "TON"]  # fmt: skip


def damaged(text: str, random: Random) -> str:
    """The text with one or two tokens dropped, doubled, exchanged or replaced."""
    tokens = _TOKENS.findall(text)
    for _ in range(random.choice([1, 1, 2])):
        at, other = random.randrange(len(tokens)), random.randrange(len(tokens))
        match random.randint(0, 4):
            case 0:
                del tokens[at]
            case 1:
                tokens.insert(at, tokens[other])
            case 2:
                tokens[at], tokens[other] = tokens[other], tokens[at]
            case 3:
                tokens[at] = tokens[other]
            case _:
                tokens[at] = random.choice(_STRAY)
    return "".join(tokens)


def accepted(text: str) -> Program | None:
    """The program, if it can be read and has no errors."""
    program: Program | None = None
    try:
        program = parse_program(text)
        messages = errors(program)
    except ProgramError as refused:
        messages = refused.messages
    assert all(message.text.endswith(".") for message in messages)
    return None if messages else program


@settings(max_examples=400)
@given(st.integers(0, 2**32 - 1))
def test_a_damaged_program_is_refused_or_runs(seed: int) -> None:
    random = Random(seed)
    text = damaged(print_program(crowded(seed)), random)
    note(text)
    program = accepted(text)
    event("refused" if program is None else "runs")
    if program is not None:
        check(program, seed, period_ms=10, observe=False, scans=2)


def test_damage_leaves_some_programs_right() -> None:
    """So that the test above sees the compiler, and not refusals only."""
    random = Random(131)
    found = [accepted(damaged(print_program(crowded(seed)), random)) for seed in range(100)]
    assert 10 < sum(program is not None for program in found) < 80
