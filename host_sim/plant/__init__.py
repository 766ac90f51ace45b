"""The simulated machine: physics of pump, plumbing and sensors, and nothing of the controller.

`catalogue.machine_spec` gives the parameters of a kind of machine, `machine.Machine`
lives it through time, `steady` solves it at rest. All quantities are SI floats whose
unit ends the name. Gauge pressure everywhere; the tank stands at zero.
"""
