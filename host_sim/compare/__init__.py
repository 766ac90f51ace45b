"""A student's variant of the core beside ours: in the acceptance sequence and in the core's tests.

`variant` lays it over a copy of the tree, `isolated` runs a command there that may crash, hang or
want all memory, `drives` is what runs there, `score` puts both together, `table` shows it.
"""
