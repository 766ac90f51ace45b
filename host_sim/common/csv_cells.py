"""Cells of a table that a person opens in a spreadsheet.

A cell that begins with = + - @, a tab or a carriage return is taken for a formula, and a formula
can send data away or start a program. What came from a person's file is only ever text here. The
rule is that of OWASP, "CSV Injection", https://owasp.org/www-community/attacks/CSV_Injection :
a single quote before such a cell, and every text in double quotes.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")
_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?")


def table(rows: Iterable[Sequence[str]]) -> str:
    """The text of a CSV file; numbers stay numbers, texts can be nothing but texts."""
    text = io.StringIO()
    writer = csv.writer(text, quoting=csv.QUOTE_ALL, lineterminator="\n")
    writer.writerows([safe(cell) for cell in row] for row in rows)
    return text.getvalue()


def safe(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula."""
    # What stands behind blanks is taken for a formula by some.
    risky = cell.lstrip(" ").startswith(FORMULA_STARTS) and not _NUMBER.fullmatch(cell)
    return "'" + cell if risky else cell


def separator_of(header: str) -> str:
    """What stands between the cells of a file: a comma, or what else a spreadsheet may write."""
    return max(",;\t", key=header.count)
