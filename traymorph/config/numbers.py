"""Numbers as people write them into lists: digits with a point, or with the decimal comma."""

import re

from traymorph.config.problems import ValueProblemError

NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


def read_number(text: str, *, decimal_comma: bool, if_empty: str) -> float:
    """Read a number without a unit.

    Parameters
    ----------
    text : str
        The cell.
    decimal_comma : bool
        The list separates its cells by something other than commas, so that ``12,5`` can only
        be a decimal number.
    if_empty : str
        What to do where the cell is empty.

    Raises
    ------
    ValueProblemError
        The cell holds no number.
    """
    plain = text.replace(",", ".") if decimal_comma else text
    if NUMBER.fullmatch(plain):
        return float(plain)
    what, advice = "is not a plain number", "Write digits only, and the unit in its column"
    if not text:
        what, advice = "is empty", if_empty
    elif NUMBER.fullmatch(text.replace(",", ".")):
        what, advice = "has a decimal comma", f"Write {text.replace(',', '.')}"
    raise ValueProblemError(what, advice)
