"""A student's programs: versions, comparison, import and export, printing.

- A file is read whole, or refused with its place: an unknown element, input or XML attribute
  inside a rung is refused (``server.ladder.xml_carried``); what only says how the program looked
  is a note.
- A file that is previewed is not stored; the page holds its program as text until it is imported.
- Whatever replaces the program goes through ``save_program`` with the revision that the page
  showed, so that it is one step of undo and overwrites nothing unseen.
- An address names a state by ``now``, ``start``, ``version-12`` or ``attempt-3``, always of the
  visitor's own program (``states``).
- ``tests/browser/test_printing.py`` prints the sheet and reads the PDF: nothing may be cut off.
"""
