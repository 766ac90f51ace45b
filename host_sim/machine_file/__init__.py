"""The machine file: one TOML file that is a person's machine.

`homes` says where in it each setting stands, `values` how a value is written, `machine` reads
the whole file, `twin_spec` makes the simulated machine of it, `keeping` writes into it.
"""
