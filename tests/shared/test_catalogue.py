"""The catalogue names every procedure by module, class and need of the bench."""

from rate_control.procedures.catalogue import CATALOGUE, NAME, NEEDS_BENCH, make
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
