"""The twin: the firmware on a virtual board, in a simulated machine, on a drive."""
