"""The help on each field that the author's page may show, once for each kind of part."""

from functools import cache

from server.marking.authoring.field_help import FORMS, FieldHelp, field_help
from server.web.authoring.fields import help_name, kinds_of


@cache
def field_helps() -> list[tuple[str, str, str, FieldHelp]]:
    """Return name, heading, key and help of each field."""
    return [
        (help_name(form, kind.key), heading, kind.key, help)
        for heading, form in FORMS.items()
        for kind in kinds_of(form)
        if (help := field_help(form, kind.key, kind.told))
    ]
