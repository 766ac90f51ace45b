"""ngspice on the netlist that KiCad exports from the drawings."""
