"""A field trial from the plan to the table: plots laid out, driven, and judged as applied."""
