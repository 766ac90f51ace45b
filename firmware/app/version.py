"""The version of firmware and twin: pyproject.toml takes it from here."""

VERSION = "0.1.0"
