"""Whatever a person did to a procedure before, all that can be asked of it has an answer.

Every procedure of the catalogue walks at random through its actions, with parameters, settings
and amounts at the ends of their ranges. After each step everything that screens, link and
command line ask is asked. The walk is repeatable: its chance is a linear congruence.
"""

import json

from rate_control.procedures import catalogue
from rate_control.procedures.procedure import COMPLETE, ENTER, FAILED, MARK, RUNNING, TAKE_BACK
from rate_control.records import Decided, Measured
from rate_control.settings import build
from rate_control.totals import Totals
from tests.support.chance import Chance
from tests.support.link_rig import ALL, DOWN, LinkRig

WALKS = 12
STEPS = 40
ACTIONS = (MARK, ENTER, TAKE_BACK, COMPLETE, ENTER, MARK)
FLOWS_UL_S = (0, 1, 999, 30000, 1000000)
PULSES = (0, 0, 1, 2, 1000)
# Settings whose ends a calculation divides by.
METERS = (
    {},
    {"meter_pulses_hl": 500, "meter_droop_ul_s": 0},
    {"meter_pulses_hl": 2000000, "meter_droop_ul_s": 1},
    {"section_count": 1},
)


def ask_everything(procedure):
    """What get_procedure and get_facts of the link ask, and the screens beside them."""
    entry = procedure.entry() if procedure.state == RUNNING else None
    if entry is not None:
        assert isinstance(procedure.suggestion(), int)
    asked = (procedure.prompt(), procedure.accepts(), procedure.needs_more(), procedure.facts(),
             procedure.proposal(), procedure.entry())
    json.dumps(asked)
    if procedure.NEEDS_BENCH:
        assert 0 <= procedure.progress_permille() <= 1000
    return asked


def parameters(entry, chance):
    """Every parameter at its default or at one of its ends."""
    return {param[catalogue.P_NAME]: param[chance.of((catalogue.P_LOW, catalogue.P_HIGH,
                                                      catalogue.P_DEFAULT, catalogue.P_DEFAULT))]
            for param in entry[catalogue.PARAMS]}


def amount(procedure, chance):
    """An amount that ENTER takes, one beside it, or none."""
    entry = procedure.entry()
    if entry is None:
        return chance.of((None, 1))
    return chance.of((entry[2], entry[3], procedure.suggestion(), min(entry[2] + 1000, entry[3]),
                      entry[2] - 1, entry[3] + 1))


def walk(procedure, chance):
    measured = Measured()
    decided = Decided()
    decided.section_mask = chance.of((7, 7, 7, 1))
    for _ in range(STEPS):
        ask_everything(procedure)
        measured.flow_ul_s = chance.of(FLOWS_UL_S)
        measured.flow_valid = measured.flow_readable = chance.below(2)
        measured.flow_pulses = measured.speed_pulses = chance.of(PULSES)
        measured.supply_mv = chance.of((0, 9000, 12500))
        for _ in range(chance.of((1, 1, 3, 40))):
            if procedure.state == RUNNING:
                procedure.step(measured, decided)
        action = chance.of(ACTIONS)
        procedure.act(action, amount(procedure, chance) if action == ENTER else None)
    ask_everything(procedure)
    procedure.stop()
    ask_everything(procedure)


def test_all_that_can_be_asked_has_an_answer():
    reached = 0
    for number, entry in enumerate(catalogue.CATALOGUE):
        for seed in range(WALKS):
            chance = Chance(1000 * number + seed)
            settings, problems = build(chance.of(METERS))
            assert problems == []
            procedure, problem = catalogue.make(
                entry[catalogue.NAME], parameters(entry, chance), settings,
                chance.of((None, Totals())))
            assert problem == ""
            reached += procedure.state != FAILED
            walk(procedure, chance)
    assert reached >= 7 * WALKS  # most can be begun on a new job


def test_every_procedure_is_told_over_the_link_on_a_new_job():
    rig = LinkRig()
    rig.bench()
    rig.ticks(20, DOWN | ALL, 0, 50)
    for entry in catalogue.CATALOGUE:
        rig.application.clear_totals()
        began = rig.ask("procedure.begin", procedure=entry[catalogue.NAME])
        assert began["answer"] == "procedure.begin", began
        for request in ("procedure.get", "procedure.facts", "procedure.stop", "procedure.get",
                        "procedure.facts"):
            answer = rig.ask(request)
            assert answer.get("error") in (None, "refused"), (entry[catalogue.NAME], answer)
