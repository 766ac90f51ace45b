"""What a base class only states is not put onto a board; what does something is."""

import ast

from host_sim.build.firmware import board_modules
from host_sim.build.stated_methods import drop_stated_methods

SOURCE = '''
class Board:
    """Says what a board has."""

    def read(self):
        """Return what is there."""
        raise NotImplementedError

    def write(self, value):
        raise NotImplementedError

    def files(self):
        return None

    def check(self):
        if self.read():
            raise NotImplementedError


class Bare:
    def read(self):
        raise NotImplementedError
'''


def test_only_methods_that_do_nothing_but_refuse_are_dropped():
    tree = ast.parse(SOURCE)
    drop_stated_methods([tree])
    board, bare = tree.body
    assert [part.name for part in board.body[1:]] == ["files", "check"]
    assert isinstance(bare.body[0], ast.Pass)
    compile(ast.unparse(tree), "module", "exec")


def test_a_board_gets_none_of_them():
    texts = {name: ast.unparse(tree) for name, tree in board_modules().items()}
    assert not [name for name, text in texts.items() if "NotImplementedError" in text]
    assert "def retained" in texts["boards.board"]
