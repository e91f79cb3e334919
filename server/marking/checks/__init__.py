"""The kinds of checks: each file of this folder defines one, as a class.

To add a kind, write its file. The form of exercise files, the author's page, marking, sentences and
pictures walk over ``CHECKS``; a class that lacks something is refused when the server starts.
"""

import inspect
import pkgutil
from importlib import import_module
from typing import Annotated, Any, TypeAlias, Union

from pydantic import Discriminator, GetPydanticSchema, Tag, TypeAdapter

from server.marking.check import Check


def kind_in(name: str) -> type[Check]:
    """Return the kind of check that a file of this folder defines. Raises TypeError."""
    module = import_module(f"{__name__}.{name}")
    kinds = [
        value
        for value in vars(module).values()
        if inspect.isclass(value) and value.__module__ == module.__name__
        if issubclass(value, Check)
    ]
    if len(kinds) != 1:
        raise TypeError(f"{module.__name__} defines {len(kinds)} checks. Define one.")
    (kind,) = kinds
    missing = sorted(kind.__abstractmethods__)
    missing += [word for word in ("menu", "draft") if not hasattr(kind, word)]
    if missing:
        raise TypeError(f"The check {kind.__name__} lacks {', '.join(missing)}. Add it.")
    return kind


CHECKS: dict[str, type[Check]] = {
    kind.key(): kind for kind in (kind_in(file.name) for file in pkgutil.iter_modules(__path__))
}
"""The kinds by the key that tells them apart in an exercise file."""


def kind_of_check(data: object) -> type[Check] | None:
    """Return the kind of a check as it stands in a file; None if no key tells it."""
    keys = data if isinstance(data, dict) else ()
    return next((kind for key, kind in CHECKS.items() if key in keys), None)


def _tag(data: object) -> str | None:
    kind = kind_of_check(data)
    return f"<{kind.key()}>" if kind else None


def _any_kind() -> Any:
    """Return the union of all kinds, which pydantic tells apart by their keys."""
    tagged = (Annotated[kind, Tag(f"<{key}>")] for key, kind in CHECKS.items())
    return Annotated[
        Union[tuple(tagged)],  # noqa: UP007 (its members are known only when it runs)
        Discriminator(
            _tag,
            custom_error_type="check",
            custom_error_message=f"A check has one of the keys {', '.join(CHECKS)}",
        ),
    ]


AnyCheck: TypeAlias = Annotated[
    Check, GetPydanticSchema(lambda source, handler: handler(_any_kind()))
]
"""A check of any kind, as a field of a form."""

_FORM: TypeAdapter[Check] = TypeAdapter(AnyCheck)


def read_check(data: dict[str, object]) -> Check:
    """Return the check that stands in a file. Raises pydantic's ValidationError."""
    return _FORM.validate_python(data)
