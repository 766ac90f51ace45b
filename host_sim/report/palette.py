"""The colours of a report: each is a CSS variable of the page, light or dark."""

from __future__ import annotations

# name: (light, dark); blue and orange are those of Okabe and Ito, told apart by everybody
PALETTE = {
    "page": ("#ffffff", "#16191d"),
    "ink": ("#1c2126", "#e6e8ea"),
    "muted": ("#5b6670", "#9aa5af"),
    "grid": ("#d9dee3", "#333a42"),
    "lifted": ("#eceff2", "#22272d"),
    "true": ("#0072b2", "#56b4e9"),
    "wanted": ("#1c2126", "#e6e8ea"),
    "metered": ("#d55e00", "#e69f00"),
    "band": ("#cfe5d6", "#244a3a"),
}
# How often ground was covered, on a map; told apart by their lightness too, but for the last two.
COVERED = (
    ("#74a9cf", "once"),
    ("#d7301f", "twice and more"),
    ("#8856a7", "skipped, between swaths"),
)
# What matplotlib draws in, until the variables take its place.
MARKERS = {name: f"#0f0e{index:02x}" for index, name in enumerate(PALETTE)}
