"""The version of the firmware, as in pyproject.toml."""

VERSION = "0.1.0"
