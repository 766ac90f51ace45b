"""Campaign: many builds of every machine, each tuned only by its own procedures.

`build` draws a machine and puts it through a short drive, `session` does that many times,
`figures` says what came of all, `table` and `chart` show it.
"""
