"""The part of the table of settings that a board needs only while it is set up.

WORDS has a row for each row of the table, in the same order. Here it is taken from there; for a
board the build writes it down, and the table without it (host_sim/build/settings_parts.py).
"""

from rate_control import settings_table as whole

GROUP, LABEL, ADVICE = range(3)

WORDS = tuple([(row[whole.GROUP], row[whole.LABEL], row[whole.ADVICE]) for row in whole.TABLE])
