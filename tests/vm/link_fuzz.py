"""Send records that must change nothing to a link in every operating state.

    link_fuzz.py COUNT SEED [sabotage]

COUNT lines in all. Raises where one changes anything, is answered with more than one record, or
fails inside. With sabotage one request does not check what it is given. Prints
`lines N answered N refused N ignored N`.
"""

import json
import sys

from app.link_frame import parse
from app.operations import Operations
from rate_control.interlock import APPLYING, BENCH, FAULT, PARKED, READY
from tests.support.link_fuzz import lines, mutated_query, whole_state
from tests.support.link_rig import ALL, MASTER, WORK, LinkRig

LOOK_EVERY = 100


def rig_in(state):
    """A rig in an operating state, with a procedure at work where it can be."""
    rig = LinkRig()
    if state == READY:
        rig.ticks(5, 0)
        rig.ticks(5, MASTER | ALL)
    elif state == APPLYING:
        rig.apply()
    elif state == BENCH:
        rig.bench()
    elif state == FAULT:
        rig.apply()
        rig.ticks(200, WORK, 400, 0)
    assert rig.state == state
    return rig


def frozen(rig):
    """Everything that a request could change: the application with all below it, the board."""
    return whole_state([rig.application, rig.link.telemetry.every], {})


def careless_set_rate(operations, rate_ml_ha):
    """Stands in for Operations.set_rate and takes everything."""
    operations.controller.request.rate_ml_ha = rate_ml_ha
    return "refused"


class Tally:
    """What became of the lines."""

    def __init__(self):
        self.lines = self.answered = self.refused = self.ignored = 0

    def add(self, maker, line, sent):
        """Count one line and check what was sent back."""
        self.lines += 1
        if not sent:
            self.ignored += 1
            return
        assert len(sent) <= line.count(b"\n"), (line, sent)
        for text in sent:
            body = json.loads(parse(text)[1])
            assert body.get("error") != "internal", (line, body)
            if "error" in body:
                self.refused += 1
            else:
                assert maker is mutated_query, (line, body)
                self.answered += 1


def main():
    """Go through the states, with an equal share of the lines in each."""
    count, seed = int(sys.argv[1]), int(sys.argv[2])
    if "sabotage" in sys.argv:
        Operations.set_rate = careless_set_rate
    tally = Tally()
    for state in (PARKED, READY, APPLYING, BENCH, FAULT):
        rig = rig_in(state)
        before = frozen(rig)
        number = 0
        for maker, line in lines(seed + state, count // 5, state):
            rig.pipe.arrived.extend(line)
            while rig.pipe.arrived:
                rig.link.poll()
            for _ in range(line.count(b"\n")):
                rig.link.poll()
            tally.add(maker, line, rig.pipe.take_lines())
            number += 1
            if number % LOOK_EVERY == 0:
                assert frozen(rig) == before, (state, number, line)
        assert frozen(rig) == before
        rig.ticks(3, rig.board.switches, 0, 0)
        assert rig.ask("hello")["answer"] == "hello"
        assert rig.link.failures == 0
    print("lines %d answered %d refused %d ignored %d"
          % (tally.lines, tally.answered, tally.refused, tally.ignored))


main()
