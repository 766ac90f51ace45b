"""Building for other interpreters, what a tick costs there, and the generated pages."""
