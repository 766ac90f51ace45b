"""The controller as a thing that one builds: pins, circuits, drawings, parts, first power."""
