"""Boards: what stands between the portable firmware and the pins."""
