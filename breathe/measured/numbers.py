"""Numbers as spreadsheets and people write them."""

from __future__ import annotations

import math
import re

_PLAIN = re.compile(r"[+-]?(?:[0-9]+[.,]?[0-9]*|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_THOUSANDS_POINT = re.compile(r"[+-]?[1-9][0-9]{0,2}(?:\.[0-9]{3})+(?:,[0-9]*)?")
_THOUSANDS_COMMA = re.compile(r"[+-]?[1-9][0-9]{0,2}(?:,[0-9]{3})+\.[0-9]*")
_COMMA_MAY_BE_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
_SPACES = str.maketrans({"\u00a0": "", "\u202f": "", "\u2212": "-"})


def number(text: str, decimal: str) -> float | None:
    """The number a cell holds, or None where it holds none.

    A lone mark of the other kind is read as a decimal mark too where it can mean nothing else
    ("189.3" in a sheet with decimal commas). Points part thousands only where the sheet has decimal
    commas and the digits stand in threes ("2.000", "1.234,5"); a comma before exactly three digits
    in a sheet with decimal points ("1,234") may mean either, so it is None.

    Parameters
    ----------
    text : str
        The cell as written; quotes around it are passed over.
    decimal : str
        '.' or ',', the decimal mark of the sheet.

    Examples
    --------
    >>> number("1.234,5", ","), number(".450", "."), number("1,993E+02", ",")
    (1234.5, 0.45, 199.3)
    >>> number("#NV", ",") is None
    True
    """
    text = text.strip().strip("\"'").strip().translate(_SPACES)
    if _THOUSANDS_COMMA.fullmatch(text):
        text = text.replace(",", "")
    elif decimal == "," and _THOUSANDS_POINT.fullmatch(text):
        text = text.replace(".", "")
    elif decimal == "." and _COMMA_MAY_BE_THOUSANDS.fullmatch(text):
        return None
    if not _PLAIN.fullmatch(text):
        return None
    value = float(text.replace(",", "."))
    return value if math.isfinite(value) else None
