"""A verdict as plain JSON data and back; what the store keeps of it."""

from typing import Any

from pydantic import TypeAdapter

from server.marking.verdict import Verdict

_form = TypeAdapter(Verdict)


def to_json(verdict: Verdict) -> dict[str, Any]:
    """Return the whole verdict, with its evidence, as JSON data."""
    document: dict[str, Any] = _form.dump_python(verdict, mode="json")
    return document


def from_json(document: dict[str, Any]) -> Verdict:
    """Return the verdict that ``to_json`` wrote. Raises ValueError for anything else."""
    return _form.validate_python(document)
