"""Times, numbers and lists of a verdict in words."""

from collections.abc import Sequence

from server.ladder.names import listed


def seconds(ms: int) -> str:
    """Return milliseconds as seconds with two decimals: '0.52 s'."""
    return f"{ms / 1000:.2f} s"


def plant_time(ms: int) -> str:
    """Return a longer time, rounded: '45 s', '6.2 min'."""
    return f"{ms / 1000:.0f} s" if ms < 60_000 else f"{ms / 60_000:.1f} min"


def counted(number: int, word: str) -> str:
    """Return a number with its word: '1 change', '4 changes'."""
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def known_by_scenarios(count: int, ms: int) -> str:
    """Return how a requirement is known that was met in ``count`` scenarios, ``ms`` in all."""
    return f"held in {counted(count, 'scenario')} ({plant_time(ms)} of plant time)"


def broken_later(number: str, before: Sequence[str]) -> str:
    """Return why a requirement is not reached that was broken only after others had been."""
    return (
        f"{number} not reached: it was broken only in runs in which {listed(before)} had been "
        "broken before. What comes after that is not judged."
    )


def not_judged(number: str, broken: Sequence[str]) -> str:
    """Return why a requirement is not reached whose violations follow from broken ones."""
    return (
        f"{number} not reached: your program does not meet {listed(broken)}, and what it did wrong "
        "here can follow from that."
    )


def met_but_following(number: str, broken: Sequence[str]) -> str:
    """Return the note on a met requirement whose violations follow from broken ones."""
    return (
        f"{number} was also broken, but that can follow from {listed(broken)}, which your program "
        "does not meet; nothing is deducted for it."
    )


def met_but_broken_later(number: str, before: Sequence[str]) -> str:
    """Return the note on a met requirement that was broken only after others had been."""
    return (
        f"{number} was broken only in runs in which {listed(before)} had been broken before; "
        "nothing is deducted for that."
    )
