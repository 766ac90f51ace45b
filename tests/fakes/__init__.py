"""Chips made of Python: just enough of machine, rp2 and esp32 to run a board's own code.

They behave, they do not merely record: state machines run their programs, DMA carries words, a
watchdog that nobody feeds resets. They run on CPython and on MicroPython.
"""
