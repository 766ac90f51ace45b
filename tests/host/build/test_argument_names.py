"""Arguments get short names, and a program does what it did."""

from __future__ import annotations

import ast

from host_sim.build.argument_names import shorten_arguments
from host_sim.build.firmware import board_modules

SOURCE = '''
scale = 3
def plain(weight, height=scale):
    total = weight * height
    return total - weight
def named(amount, times):
    return amount * times
def outer(base, a1):
    def inner(step, base):
        return base - step
    def seen(step):
        base_too = base
        return [base_too + step + item for item in (a1,)]
    return inner(1, base) + seen(2)[0] + (lambda base, by=base: base * by)(4)
class Box:
    def put(self, thing, where):
        self.thing = thing
        self.where = lambda width: where + width
        return self
@property
def shown(self):
    return self
ANSWER = (plain(5), plain(5, 7), named(amount=2, times=5), outer(10, 20),
          Box().put(1, 2).where(30), [plain(weight) for weight in (1, 2)])
'''


def shortened(source: str) -> ast.Module:
    tree = ast.parse(source)
    shorten_arguments([tree])
    return tree


def answer(tree: ast.Module) -> object:
    names: dict[str, object] = {}
    exec(compile(ast.fix_missing_locations(tree), "program", "exec"), names)
    return names["ANSWER"]


def arguments(tree: ast.AST) -> list[str]:
    return [argument.arg for node in ast.walk(tree) if isinstance(node, ast.arguments)
            for argument in node.args]


def test_a_program_does_what_it_did() -> None:
    assert answer(shortened(SOURCE)) == answer(ast.parse(SOURCE))


def test_only_what_a_call_names_and_self_keep_their_names() -> None:
    kept = {name for name in arguments(shortened(SOURCE)) if not name[1:].isdigit()}
    assert kept == {"self", "amount", "times"}


def test_a_decorated_function_stays_as_it_is() -> None:
    source = "@asm_pio(sideset_init=1)\ndef program(wrap, label):\n    label('x')\n"
    assert ast.unparse(shortened(source)) == ast.unparse(ast.parse(source))


def test_the_firmware_has_few_names_of_arguments_left() -> None:
    names = {name for tree in board_modules().values() for name in arguments(tree)}
    assert len(names) < 25
    assert "confirmed_at_machine" in names  # a screen names it where it calls
