"""The catalogue names every procedure by module, class and need of the bench."""

from rate_control.procedures import DONE, RUNNING, STOPPED
from rate_control.procedures.catalogue import CATALOGUE, NAME, NEEDS_BENCH, make
from rate_control.procedures.procedure import AGAINST_STOP
from rate_control.settings import Settings
from rate_control.totals import Totals


def test_every_row_makes_the_procedure_that_it_describes():
    totals = Totals()
    totals.volume.whole = 100  # the tank check wants a job behind it
    for entry in CATALOGUE:
        procedure, problem = make(entry[NAME], {}, Settings(), totals)
        assert problem == "", entry[NAME]
        assert entry[NAME] == procedure.NAME
        assert entry[NEEDS_BENCH] == procedure.NEEDS_BENCH, entry[NAME]


def test_none_drives_before_its_first_step_and_an_end_is_final():
    totals = Totals()
    totals.volume.whole = 100
    for entry in CATALOGUE:
        for ended in (DONE, STOPPED):
            procedure, _ = make(entry[NAME], {}, Settings(), totals)
            assert procedure.state == RUNNING
            assert procedure.duty_u16 in (0, AGAINST_STOP), entry[NAME]
            procedure.duty_u16 = 30000
            procedure.finish(ended, "so")
            procedure.stop()
            assert (procedure.state, procedure.reason) == (ended, "so")
            assert procedure.duty_u16 == 0
