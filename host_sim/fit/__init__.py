"""A person's own twin: the parameters of the simulated machine, estimated from a recording.

`episode` is what the controller recorded, `replay` lets the plant live through it again,
`unknowns` are the parameters and what is known of them beforehand, `estimate` finds them,
`quantities` are what a machine with them does, `words` say it, `hidden` proves the intervals.
"""
