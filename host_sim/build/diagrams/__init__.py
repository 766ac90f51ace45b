"""The diagrams in docs/diagrams, drawn from the tables and from runs on the twin."""
