"""What holds for the whole suite: hypothesis profiles, and counts per interpreter at the end."""

import os

from hypothesis import settings

settings.register_profile("ci", deadline=None, derandomize=True, print_blob=True)
settings.register_profile("local", deadline=None)
settings.load_profile("ci" if os.environ.get("CI") else "local")

os.environ.pop("FORCE_COLOR", None)  # the tests compare what is printed without colours

# A test that measures something worth reading after a run records it under this property,
# as one line of text.
SUMMARY_PROPERTY = "summary"


def pytest_terminal_summary(terminalreporter):
    """Print the recorded lines above the closing line."""
    lines = [
        value
        for report in terminalreporter.stats.get("passed", [])
        for name, value in getattr(report, "user_properties", [])
        if name == SUMMARY_PROPERTY
    ]
    if lines:
        terminalreporter.section("measured")
        for line in sorted(lines):
            terminalreporter.write_line(line)
