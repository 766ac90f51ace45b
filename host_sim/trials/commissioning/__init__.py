"""A machine as its owner would set it up: settings from tape and data sheet, then the procedures.

`owner` reads off the machine what a person can, `bench` stands it still and runs procedures,
`commission` does the whole.
"""
