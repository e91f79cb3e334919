"""Which passwords are taken: long enough, and not among those that are guessed first."""

import re

from zxcvbn import zxcvbn

from server.store.passwords import SHORTEST

LONGEST_JUDGED = 72
"""The rest of a longer password is not looked at: to judge it takes time."""

LEAST_SCORE = 3
"""Of zxcvbn, which knows common passwords, names and patterns: 100 million guesses or more."""

TOO_SHORT = f"The password needs {SHORTEST} characters or more. Choose a longer one."
EASY = (
    "This password is easy to guess: it is a common one, or made of your name, the alphabet or a "
    "date. Choose another, such as four words that don't belong together."
)


def weakness(password: str, *about: str) -> str | None:
    """Return what is wrong with a new password; ``about`` is what others know of its owner."""
    if len(password) < SHORTEST:
        return TOO_SHORT
    known = ["rungmark", *(word for text in about for word in re.findall(r"\w{3,}", text))]
    score: int = zxcvbn(password[:LONGEST_JUDGED], user_inputs=known[:50])["score"]
    return EASY if score < LEAST_SCORE else None
