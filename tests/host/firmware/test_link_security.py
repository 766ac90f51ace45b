"""Nothing remote arms, starts or bypasses a permit: whatever is asked, while no hand moves.

What a hand does is a change of a switch or a push at the machine. As long as there is none, the
outputs may go off, but they never come on.
"""

import ast
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import app
from app.link_requests import A_KIND, A_NAME, A_NEEDED, ARGUMENTS, NAME, ROWS, TABLE
from rate_control.interlock import APPLYING, BENCH, FAULT, PARKED, READY
from rate_control.procedures.catalogue import CATALOGUE, NEEDS_BENCH
from rate_control.settings import COUNT, HIGH, LOW
from rate_control.settings import NAME as SETTING
from rate_control.settings import TABLE as SETTINGS
from tests.support.link_rig import ALL, MASTER, WORK, LinkRig

LINK_FILES = ("link.py", "link_handlers.py", "link_requests.py", "link_frame.py", "telemetry.py")
OPERATIONS = {"show_units", "set_rate", "change_settings", "undo", "set_regulation",
              "begin_procedure", "running_procedure", "act", "stop_procedure", "keep_proposal",
              "clear_totals", "missing"}


def setting_values():
    """A few permitted settings by name."""
    return st.lists(st.sampled_from(SETTINGS), min_size=1, max_size=4).flatmap(
        lambda rows: st.fixed_dictionaries({row[SETTING]: setting_value(row) for row in rows}))


def setting_value(row):
    number = st.integers(row[LOW], row[HIGH])
    if row[COUNT] == 1:
        return number
    return st.lists(number, min_size=row[COUNT], max_size=row[COUNT]).map(sorted)


KINDS = {
    "count": st.one_of(st.integers(0, 200), st.integers(1000, 500000)),
    "text": st.sampled_from(["closed_loop", "fixed_duty", "mark", "enter", "complete",
                             *(row[0] for row in CATALOGUE)]),
    "texts": st.just(["rate_ml_ha"]),
    "object": st.one_of(setting_values(), st.just({})),
}


@st.composite
def requests(draw):
    """A request of the right form."""
    row = draw(st.sampled_from(TABLE))
    arguments = {argument[A_NAME]: draw(KINDS[argument[A_KIND]]) for argument in row[ARGUMENTS]
                 if argument[A_NEEDED] or draw(st.booleans())}
    return row[NAME], arguments


def parked_with_everything_on(rig):
    rig.ticks(10, WORK, 400, 100)


def ready(rig):
    rig.ticks(5, 0)
    rig.ticks(60, MASTER | ALL)


def applying(rig):
    rig.apply()


def benched(rig):
    rig.bench()


def faulty(rig):
    rig.apply()
    rig.ticks(200, WORK, 400, 0)


SCENES = {
    PARKED: (parked_with_everything_on, WORK, 400, 100),
    READY: (ready, MASTER | ALL, 0, 0),
    APPLYING: (applying, WORK, 400, 100),
    BENCH: (benched, MASTER | ALL, 0, 0),
    FAULT: (faulty, WORK, 400, 100),
}
ON = {APPLYING, BENCH}


@pytest.mark.parametrize("state", SCENES)
@given(asked=st.lists(requests(), min_size=1, max_size=12))
def test_nothing_comes_on_while_no_hand_moves(state, asked):
    prepare, switches, speed_hz, flow_hz = SCENES[state]
    rig = LinkRig()
    prepare(rig)
    assert rig.state == state
    was_on = state if state in ON else None
    for name, arguments in asked:
        rig.ask(name, **arguments)
        for _ in range(4):
            rig.ticks(1, switches, speed_hz, flow_hz)
            if rig.state != was_on:
                was_on = None
            assert rig.state not in ON or rig.state == was_on, name
            if was_on is None:
                assert (rig.board.duty_u16, rig.board.section_mask) == (0, 0), name
        procedure = rig.application.controller.procedure
        assert procedure is None or not procedure.NEEDS_BENCH, "one that drives was begun"


def test_every_driving_procedure_is_only_prepared():
    driving = [row[0] for row in CATALOGUE if row[NEEDS_BENCH]]
    assert driving
    for name in driving:
        rig = LinkRig()
        rig.bench()
        assert "answer" in rig.ask("procedure.begin", procedure=name)
        rig.ticks(40, MASTER | ALL)
        assert rig.application.controller.procedure is None
        assert rig.application.asked[0] == name
        assert rig.board.duty_u16 == 0


def test_confirmation_cannot_be_sent():
    rig = LinkRig()
    rig.bench()
    for name in ROWS:
        answer = rig.ask(name, confirmed_at_machine=True)
        assert answer["error"] == "arguments", name


def trees():
    folder = Path(app.__file__).parent
    return {name: ast.parse((folder / name).read_text()) for name in LINK_FILES}


def test_link_calls_only_the_operations():
    """Read from the source: what is called on the application, and with what."""
    called = set()
    for tree in trees().values():
        for call in (node for node in ast.walk(tree) if isinstance(node, ast.Call)):
            assert all(keyword.arg != "confirmed_at_machine" for keyword in call.keywords)
            target = call.func
            if isinstance(target, ast.Attribute) and ast.unparse(target.value).endswith(
                    "application"):
                called.add(target.attr)
                assert target.attr != "begin_procedure" or len(call.args) == 2
    assert called == OPERATIONS


def test_link_stores_into_nothing_but_itself():
    """Read from the source: no request reaches the controller except through an operation."""
    stored = set()
    for tree in trees().values():
        for node in ast.walk(tree):
            if isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Store):
                stored.add(ast.unparse(node.value))
    assert stored == {"self", "link.telemetry"}
