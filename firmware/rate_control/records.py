"""The records that pass between the stages of a tick.

Each is made once and filled anew in every tick, so a tick allocates nothing. All fields are
small ints; flags are 0 or 1.
"""


from rate_control.intmath import LIMIT
from rate_control.units import REPORTING


class Inputs:
    """What the board saw: raw counts, edge times and levels at the start of a tick.

    Counts and times wrap at 2**30. switches holds one bit a switch (see units.py).
    supply_mv is 0 where the board does not measure it. reports has one for each of what reports
    a speed, in the order of the setting speed_source; reporting is 1 once any has come.
    """

    def __init__(self) -> None:
        self.speed_count = 0
        self.speed_edge_us = 0
        self.flow_count = 0
        self.flow_edge_us = 0
        self.switches = 0
        self.supply_mv = 0
        self.reports = [SpeedReport() for _ in range(REPORTING)]
        self.reporting = 0

    def report(self, source: int, at_us: int, speed_mm_s: int, trusted: int) -> None:
        """Take the speed that a receiver reports; for the application, between ticks.

        source is its value of the setting speed_source, at_us the time when the report came,
        trusted whether the receiver trusts it. The count comes last: a tick in between sees none
        of it.
        """
        report = self.reports[source - 1]
        report.at_us = at_us
        report.speed_mm_s = speed_mm_s
        report.trusted = 1 if trusted else 0
        report.count = report.count + 1 if report.count < LIMIT else 1
        self.reporting = 1


class SpeedReport:
    """The last speed that one receiver reported."""

    def __init__(self) -> None:
        self.count = 0  # reports so far
        self.at_us = 0
        self.trusted = 0
        self.speed_mm_s = 0


class Request:
    """What the operator asked for; written between ticks by the application, never by a tick.

    fixed_duty_u16 is used while regulation is FIXED_DUTY, and on the bench. bench is raised
    only after a confirmation at the machine, and the core lowers it when the bench ends.
    saving is raised around a write to the store; program_failed while a part of the
    application has failed. settings_state says whether a person at this machine has taken the
    settings on, never has, or whether those that were kept are lost. hold_mask are sections that
    are kept shut although their hand switches are on: it can open none. prime_u16 is the duty that
    a pressure sensor asks for while the implement is lifted (app/priming.py), -1: none does.
    """

    CLOSED_LOOP = 0
    FIXED_DUTY = 1

    TAKEN_ON = 0
    NOT_SET_UP = 1
    LOST = 2

    def __init__(self) -> None:
        self.rate_ml_ha = 0
        self.regulation = Request.CLOSED_LOOP
        self.fixed_duty_u16 = 0
        self.bench = 0
        self.bench_speed_mm_s = 0
        self.saving = 0
        self.program_failed = 0
        self.settings_state = Request.TAKEN_ON
        self.hold_mask = 0
        self.prime_u16 = -1


class Measured:
    """What the estimators make of the inputs."""

    def __init__(self) -> None:
        self.switches = 0  # debounced, delayed
        self.contacts = 0  # of the switches in this tick, not debounced
        self.sections_on = 0  # of them and not held, as a section mask
        self.speed_mm_s = 0
        self.speed_ahead_mm_s = 0  # that it will have when the flow gets to the outlets
        self.speed_valid = 0
        self.speed_jumped = 0  # the source shows what cannot have been reached from before
        self.moving = 0  # valid, proved and above the cut-off, with hysteresis
        self.standing = 0  # no source of the speed has seen motion for long enough
        self.speed_seen = 0  # a pulse or a fix says so in this tick, not the time waited
        self.speed_last_seen_mm_s = 0  # outlives new settings: a broken cable stays broken
        self.speed_other_mm_s = -1  # what the other source of the speed says; -1: nothing
        self.speed_pulses = 0  # since the tick before
        self.distance_mm = 0  # travelled since the tick before
        self.flow_ul_s = 0
        self.flow_valid = 0  # enough edges to believe flow_ul_s
        self.flow_readable = 0  # valid and above the meter floor
        self.flow_pulses = 0  # since the tick before
        self.flow_noise = 0  # more than any liquid: of the flow, or of the pulses of this tick
        self.volume_ul = 0  # since the tick before; off the bench, 0 where flow_noise
        self.supply_mv = 0


class Decided:
    """What the controller decided from it."""

    BY_LOOP = 0
    BY_HAND = 1  # fixed duty
    BY_PROCEDURE = 2
    BY_PRIMING = 3

    def __init__(self) -> None:
        self.state = 0
        self.permits = 0
        self.faults = 0  # active, one bit each (see faults.py)
        self.section_mask = 0  # sections that may be open now
        self.width_mm = 0  # their width
        self.rate_ml_ha = 0  # that is wanted
        self.target_ul_s = 0
        self.expected_ul_s = 0  # what the meter should read if the machine follows its curve
        self.command_ul_s = 0  # target, corrected by the loop
        self.demand_u16 = 0  # 0 to DUTY_FULL towards more flow: a duty or a valve position
        self.source = Decided.BY_LOOP  # who gives the demand
        self.trim_q20 = 0  # how far the machine is off its curve
        self.coasting = 0  # loop open, on its feed-forward: the meter cannot be read or believed
        self.saturated = 0  # +1 the machine can give no more, -1 no less

    def rest(self, source: int = BY_LOOP) -> None:
        """Decide on nothing: all flows zero, all sections shut; source may still give a demand."""
        self.source = source
        self.section_mask = 0
        self.width_mm = 0
        self.rate_ml_ha = 0  # that is wanted
        self.target_ul_s = 0
        self.expected_ul_s = 0
        self.command_ul_s = 0
        self.coasting = 0


class Outputs:
    """What the board must drive until the next tick. Made safe: everything off."""

    def __init__(self) -> None:
        self.duty_u16 = 0
        self.valve_pulse_ms = 0  # regulating valve: + opens, - closes, at most a tick long
        self.section_mask = 0

    def make_safe(self) -> None:
        """Switch everything off."""
        self.duty_u16 = 0
        self.valve_pulse_ms = 0
        self.section_mask = 0
