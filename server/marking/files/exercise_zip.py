"""An exercise as a zip: ``<slug>/exercise.yaml`` and ``<slug>/programs/*.st``, and nothing else."""

import re
import zlib
from io import BytesIO
from zipfile import BadZipFile, ZipFile, ZipInfo

from server.ladder.limits import MAX_TEXT_BYTES
from server.marking.files.document import MAX_FILE_BYTES
from server.marking.files.drafts import MAX_PROGRAM_BYTES, Draft
from server.marking.files.exercise_file import FILE_NAME, SLUG

MAX_ENTRIES = 100
MAX_BYTES = MAX_FILE_BYTES + MAX_PROGRAM_BYTES
"""Of all files together, unpacked."""

_NAME = re.compile(rf"([a-z0-9-]{{1,60}})/(?:{re.escape(FILE_NAME)}|programs/([a-z0-9-]+\.st))")
_MOMENT = (2026, 1, 1, 0, 0, 0)
"""The same exercise gives the same bytes."""


def to_zip(draft: Draft) -> bytes:
    out = BytesIO()
    files = {FILE_NAME: draft.text} | {f"programs/{n}": t for n, t in draft.programs.items()}
    with ZipFile(out, "w") as archive:
        for name, text in sorted(files.items()):
            archive.writestr(ZipInfo(f"{draft.slug}/{name}", _MOMENT), text)
    return out.getvalue()


def from_zip(content: bytes) -> Draft:
    """Return the texts in a zip.

    Raises ValueError with a sentence; nothing is written to the disk.
    """
    try:
        with ZipFile(BytesIO(content)) as archive:
            entries = [entry for entry in archive.infolist() if not entry.is_dir()]
            if len(entries) > MAX_ENTRIES:
                raise ValueError(f"The zip holds more than {MAX_ENTRIES} files. Take some out.")
            if sum(entry.file_size for entry in entries) > MAX_BYTES:
                raise ValueError(f"Unpacked, the zip is larger than {MAX_BYTES // 1000} kB.")
            return _draft(archive, entries)
    except (BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, OSError):
        raise ValueError("This is no zip that can be read. Pack the folder once more.") from None


def _draft(archive: ZipFile, entries: list[ZipInfo]) -> Draft:
    slugs, text, programs = set(), None, {}
    for entry in entries:
        found = _NAME.fullmatch(entry.filename)
        if found is None:
            raise ValueError(
                f"{entry.filename[:80]!r} does not belong into an exercise. A zip holds "
                f"slug/{FILE_NAME} and slug/programs/*.st."
            )
        most = MAX_TEXT_BYTES if found[2] else MAX_FILE_BYTES
        with archive.open(entry) as file:
            # What an entry says of its size need not be true.
            content = file.read(most + 1)
        if len(content) > most:
            raise ValueError(f"{entry.filename} has more than {most} bytes. Make it smaller.")
        try:
            decoded = content.decode("utf-8-sig")
        except UnicodeDecodeError:
            raise ValueError(f"{entry.filename} is not UTF-8. Save it as UTF-8.") from None
        slugs.add(found[1])
        if found[2]:
            programs[found[2]] = decoded
        else:
            text = decoded
    if text is None or len(slugs) != 1 or SLUG.fullmatch(min(slugs)) is None:
        raise ValueError(f"A zip holds one folder with {FILE_NAME}. Pack one exercise.")
    return Draft(slugs.pop(), text, programs)
