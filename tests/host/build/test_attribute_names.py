"""Private attributes get short names, and the program stays the same."""

import ast

from host_sim.build.attribute_names import shorten_attributes
from host_sim.build.firmware import board_modules


def shortened(**sources):
    trees = {name: ast.parse(text) for name, text in sources.items()}
    shorten_attributes(trees)
    return {name: ast.unparse(tree) for name, tree in trees.items()}


def test_classes_that_never_meet_share_their_names():
    out = shortened(
        pump="class Pump:\n    def __init__(self):\n        self._flow_ul_s = self._duty_u16 = 0",
        valve="class Valve:\n    def __init__(self):\n        self._position_u16 = 0")
    assert "self._0 = self._1 = 0" in out["pump"] or "self._1 = self._0 = 0" in out["pump"]
    assert "self._0 = 0" in out["valve"]


def test_names_that_may_meet_in_one_object_stay_apart():
    """A base class in another module, and one reached through a second one."""
    out = shortened(
        base="class Base:\n    def __init__(self):\n        self._model = 1",
        middle="from base import Base\nclass Middle(Base):\n    pass",
        loop="import middle\nfrom middle import Middle\nclass Loop(Middle):\n"
             "    def start(self):\n        self._gain = self._model")
    inherited = out["base"].partition("self.")[2].split()[0]
    assert out["loop"].endswith(f"= self.{inherited}")
    assert not out["loop"].endswith(f"self.{inherited} = self.{inherited}")


def test_what_is_no_private_attribute_keeps_its_name():
    source = ("import _thread\n_LIMIT = 3\n\nclass Part:\n    _ROWS = (1,)\n\n"
              "    def _take(self):\n        self.public = self._ROWS\n        self.__class__\n\n"
              "    def run(self):\n        self._take()\n        return _thread._LIMIT")
    assert shortened(part=source)["part"] == source


def test_a_board_has_few_private_names():
    names = {node.attr for tree in board_modules().values() for node in ast.walk(tree)
             if isinstance(node, ast.Attribute) and node.attr.startswith("_")}
    short = {name for name in names if name[1:].isdigit()}
    assert 20 < len(short) < 60
    assert "_unpolled_ticks" in names, "the tests on a chip look at it"
