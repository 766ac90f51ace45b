"""How far the rate was off, as a few classes with a colour each.

The colours are ColorBrewer's RdYlBu, which that source lists as safe for the colour-blind
(https://colorbrewer2.org).
"""

from __future__ import annotations

import math

# Applied over wanted: upper bound of each class, its colour, its name.
RATE_CLASSES = (
    (0.80, "#2c6fb3", "20 % and more too little"),
    (0.90, "#74add1", "10 to 20 % too little"),
    (0.95, "#c0e0ee", "5 to 10 % too little"),
    (1.05, "#f5f1b8", "within 5 %"),
    (1.10, "#fdc27a", "5 to 10 % too much"),
    (1.20, "#f46d43", "10 to 20 % too much"),
    (math.inf, "#b3182b", "20 % and more too much"),
)
