"""What the schema refuses in a document, in our own words and with its place."""

from collections.abc import Sequence
from difflib import get_close_matches
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from server.ladder.names import shortened
from server.marking.files.document import Document, FieldPath

Form = TypeVar("Form", bound=BaseModel)


def validated(document: Document, form: type[Form]) -> Form | None:
    """Return the document's data in the given form.

    None, and every fault noted, if it does not fit.
    """
    try:
        return form.model_validate(document.data)
    except ValidationError as refused:
        details = refused.errors(include_url=False)
        for detail in details:
            if not _follows(detail, details):
                _note(document, detail, form)
        return None


def _follows(detail: ErrorDetails, details: Sequence[ErrorDetails]) -> bool:
    """Return whether a list is only too short because of what is wrong with its items."""
    place = detail["loc"]
    within = (d["loc"][: len(place)] == place and len(d["loc"]) > len(place) for d in details)
    return detail["type"] == "too_short" and any(within)


def _note(document: Document, detail: ErrorDetails, form: type[BaseModel]) -> None:
    # The names of union members stand in angle brackets, so that no key is taken for one.
    path: FieldPath = tuple(p for p in detail["loc"] if not str(p).startswith("<"))
    context = detail.get("ctx", {})
    name = str(path[-1]) if path else ""
    match detail["type"]:
        case "missing":
            document.fault(path[:-1], f"'{name}' is missing here. Add it.")
        case "extra_forbidden" | "unexpected_keyword_argument":
            document.fault_of_key(path, f"{shortened(name)} is not known here. {_mend(name, form)}")
        case "check":
            document.fault(path, f"{detail['msg']}.")
        case "value_error":
            document.fault(path, str(context["error"]))
        case "model_type" | "model_attributes_type" | "dict_type" | "dataclass_type":
            document.fault(path, "Keys with values stand here, like 'title: Apple wash sump'.")
        case "tuple_type":
            document.fault(path, "A list stands here: one line for each part, beginning with '-'.")
        case "string_type":
            document.fault(
                path, "A text stands here. Put it into quotes if it looks like a number."
            )
        case "enum" | "literal_error":
            document.fault(path, f"{_shown(detail)} can't stand here. {_known(context)}")
        case "too_short" | "too_long" | "string_too_short" | "string_too_long":
            document.fault(path, f"{_length(detail)}.")
        case _:
            told = detail["msg"].replace("Input should", "It should")
            document.fault(path, f"{_shown(detail)} can't stand here. {told}.")


def _shown(detail: ErrorDetails) -> str:
    value = detail["input"]
    return shortened(str(value)) if isinstance(value, str | int | float) else "This"


def _known(context: dict[str, Any]) -> str:
    expected = context.get("expected")
    return f"Known are {expected}." if expected else ""


def _mend(name: str, form: type[BaseModel]) -> str:
    schema = form.model_json_schema()
    parts = (schema, *schema.get("$defs", {}).values())
    keys = {key for part in parts for key in part.get("properties", ())}
    if name in keys:
        return "It belongs to another part. Leave it out."
    close = get_close_matches(name, keys, 1)
    return f"Did you mean '{close[0]}'?" if close else "Leave it out."


def _length(detail: ErrorDetails) -> str:
    told = detail["msg"].replace("Tuple should", "The list should")
    return told.replace("String should", "The text should").replace(" after validation", "")
