"""The bench rig: a second board that plays the machine and answers with real pulses.

`plant` and the files beside it are the machine in motion, `course` says how it is driven, `rig`
puts them together above pins, `program` talks with the host. Nothing of it goes onto a controller.
"""
