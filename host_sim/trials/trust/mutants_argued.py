"""Mutants that no test kills, and why none has to.

place, line before, line after, the reason in one line. It is an error here if there is no such
mutant any more, or if a test kills it by now.
"""

from __future__ import annotations

ARGUED: tuple[tuple[str, str, str, str], ...] = (
)
