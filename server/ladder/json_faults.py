"""What the schema refuses, in our own words: the place in the program, the matter, the fix."""

from collections.abc import Sequence

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from server.ladder.limits import MAX_MESSAGES
from server.ladder.messages import Message, Place, error
from server.ladder.names import shortened


def messages_of(refused: ValidationError) -> tuple[Message, ...]:
    """Return one message a fault, at most ``MAX_MESSAGES``."""
    details = refused.errors(include_url=False)[:MAX_MESSAGES]
    return tuple(_message(detail) for detail in details)


def _message(detail: ErrorDetails) -> Message:
    location = detail["loc"]
    rule = "limit" if detail["type"] == "too_long" else "json"
    text, fix = _words(detail)
    match location:
        case ("variables", int(index), *_):
            text = f"Declaration {index + 1}: {text}"
        case _:
            pass
    return error(rule, _place(location), text, fix)


def _words(detail: ErrorDetails) -> tuple[str, str]:
    field = detail["loc"][-1] if detail["loc"] else "program"
    context = detail.get("ctx", {})
    match detail["type"]:
        case "rung":
            return context["text"], context["fix"]
        case "union_tag_invalid":
            what = context["discriminator"].strip("'")
            return (
                f"The {what} {shortened(context['tag'])} is not known.",
                f"Known are {context['expected_tags']}.",
            )
        case "union_tag_not_found":
            return f"The field {context['discriminator']} is missing.", "Add it."
        case "missing":
            return f"The field '{field}' is missing.", "Add it."
        case "extra_forbidden" | "unexpected_keyword_argument":
            return f"The field {shortened(str(field))} is not known.", "Leave it out."
        case "too_long":
            return f"There are more than {context['max_length']} {field}.", "Leave some out."
        case "enum" | "literal_error":
            return _refused_value(detail, field), f"Known are {context['expected']}."
        case "dataclass_type" | "model_attributes_type":
            return _refused_value(detail, field), "It should be an object with fields."
        case "tuple_type":
            return _refused_value(detail, field), "It should be a list."
        case _:
            fix = detail["msg"].replace("Input should", "It should")
            return _refused_value(detail, field), f"{fix}."


def _refused_value(detail: ErrorDetails, field: int | str) -> str:
    value = detail["input"]
    shown = shortened(str(value)) if isinstance(value, str | int | float) else "This"
    return f"{shown} can't stand in the field '{field}'."


def _place(location: Sequence[int | str]) -> Place:
    match location:
        case ("rungs", int(rung), "network", *steps):
            # Between the indices stand names of fields and of union members.
            element = steps[: steps.index("inputs")] if "inputs" in steps else steps
            path = tuple(step for step in element if isinstance(step, int))
            # An even number of steps ends at a branch, which is no element.
            whole = path if len(path) % 2 else path[:-1]
            return Place(rung=rung, path=whole or None)
        case ("rungs", int(rung), "outputs", int(output), *_):
            return Place(rung=rung, output=output)
        case ("rungs", int(rung), *_):
            return Place(rung=rung)
        case _:
            return Place()
