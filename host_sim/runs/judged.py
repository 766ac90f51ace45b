"""What a drive is judged by, live in the panel as in the record of a run."""

from __future__ import annotations

from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER

M2_HA = 1e4
CELL_M = 1.0  # along the way
AT_WORK = SWITCH_MASTER | SWITCH_IMPLEMENT  # what hands switch on where they want liquid
