"""Acceptance: a standard test sequence on every machine, against baselines and an oracle.

`sequence` says what happens when, `contenders` who drives, `judge` what came of it, `trial` puts
them together; `claims` are what must hold, `table` and `chart` show it.
"""
