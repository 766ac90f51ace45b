"""What a run left behind: its record, the truth of it, and figures."""
