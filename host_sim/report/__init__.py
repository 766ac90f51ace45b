"""The report of a run: one self-contained HTML file, words first, then charts and tables."""
