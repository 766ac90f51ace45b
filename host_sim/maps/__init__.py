"""Where it was applied: maps of a run, zones for the next one, and the receiver's antenna."""
