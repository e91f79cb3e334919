"""Points and reasons as teachers type them."""

from math import isfinite

NO_REASON = "Say why in a few words: the student reads it, and the log keeps it."


def read_points(text: str) -> float | None:
    """Return the number that was typed, with a point or a comma; None if it is not one."""
    try:
        number = float(text.strip().replace(",", "."))
    except ValueError:
        return None
    return number if isfinite(number) else None
