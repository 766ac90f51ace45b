"""One module per verb of `python -m host_sim`.

A verb module exposes `HELP` (one line), `configure(parser)` and
`run(args) -> int`. Heavy imports belong inside `run`, so that `--help` stays
quick. A module whose name starts with an underscore is not a verb.
"""
