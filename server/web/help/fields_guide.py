"""The fields of an exercise as a guide: what each is for, with an example."""

from functools import cache
from itertools import groupby

from server.web.authoring.helps import field_helps


@cache
def fields_guide() -> str:
    """Return the guide as Markdown: a section for each part of an exercise."""
    lines = [
        "# Fields of an exercise",
        "",
        "What may stand in each field of the author's sheet. The same words are the keys of the "
        "exercise file; [Writing an exercise](/help/authoring) tells how they work together.",
    ]
    for heading, helps in groupby(field_helps(), key=lambda row: row[1]):
        lines += ["", f"## {heading}", ""]
        for _, _, key, help in helps:
            example = "" if "\n" in help.example or not help.example else f" `{help.example}`"
            lines.append(f"- **{key}**: {help.words}{example}")
    return "\n".join(lines) + "\n"
