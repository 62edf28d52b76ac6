"""Text in CSV cells that a spreadsheet would take for a formula.

CSV cannot mark a cell as text, and spreadsheets run what begins with ``=``, ``+``, ``-`` or
``@``. The rule, both ways: such a text is written with an apostrophe before it, and so is a text
that begins with apostrophes followed by such a sign; reading takes one apostrophe off again.
Plain numbers stay as they are. Every text so comes back exactly as it was.
"""

import re

_FORMULA = re.compile(r"'*[=+\-@\t\r]")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


def guarded(text: str) -> str:
    """Give the text as it is written into a CSV cell."""
    if _FORMULA.match(text) and not _NUMBER.fullmatch(text):
        return f"'{text}"
    return text


def unguarded(cell: str) -> str:
    """Give back the text that :func:`guarded` was given."""
    return cell[1:] if cell.startswith("'") and _FORMULA.match(cell) else cell
