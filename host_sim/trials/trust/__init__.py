"""Is it to be trusted on a bad day? Faults single and in pairs, clean hours, and their figures.

`breaks` is the catalogue of faults, `station` a machine with firmware and a person, `promises`
what must hold after every tick, `case` one run, `matrix` all of them, `clean` hours in which
nothing breaks. `make trust` runs all and writes out/trust.json.
"""
