"""A program in a file from elsewhere: the text form, or XML of IEC 61131-10."""

from server.ladder.messages import Place, ProgramError, error
from server.ladder.text_form import parse_program
from server.ladder.xml_reader import Carried, read_xml


def read_program_file(name: str, data: bytes) -> Carried:
    """Return the program, and notes on what the file had that can't be carried.

    XML is known by its first sign or by the file's name. Raises ProgramError, whose messages have
    line and column wherever the file has them.
    """
    if name.lower().endswith(".xml") or data.lstrip().startswith((b"<", b"\xef\xbb\xbf<")):
        return read_xml(data)
    return Carried(parse_program(_decoded(data)), ())


def _decoded(data: bytes) -> str:
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        before = data[: fault.start].decode("utf-8-sig")
        line = before.count("\n") + 1
        column = len(before) - (before.rfind("\n") + 1) + 1
        message = error(
            "encoding",
            Place(line=line, column=column),
            "The text is not in UTF-8.",
            "Save it in this encoding and try again.",
        )
        raise ProgramError([message]) from None
