"""Gives the constants of all modules the same few short names, before the firmware is compiled.

Whole numbers stand in their places by then (constant_folding.py); what is left are tables and
texts. MicroPython keeps the name of each for as long as it runs, in a table that is doubled, by
nine kilobytes, when it is full. A constant is seen by its own module and by those that import it,
so constants that no module sees together can have the same name. Names of functions and classes
stay: a traceback shows them.

A constant that is also asked for as an attribute or by a text keeps its name, and so do those of
the modules that a person at the board's prompt may want to name.
"""

from __future__ import annotations

import ast
from collections.abc import Collection, Iterator, Mapping

from host_sim.build.short_names import short_names

SHORT = "C%d"


def shorten_constants(trees: Mapping[str, ast.Module], kept: Collection[str]) -> None:
    """Rename in place, through all modules of a program; those of the modules in kept stay."""
    asked_for = {name for tree in trees.values() for name in _otherwise_asked_for(tree)}
    asked_for |= set(_handed_on(trees))
    places = {(home, name): [home, *_importers(trees, home, name)]
              for home in trees.keys() - set(kept)
              for name in _constants(trees[home]) - asked_for}
    taken = {name for tree in trees.values() for name in _names(tree)}
    for (home, name), short in short_names(places, SHORT, taken).items():
        for place in places[home, name]:
            _rename(trees[place], home, name, short)


def _constants(tree: ast.Module) -> set[str]:
    """Upper-case names that the module gives a value once, at its top."""
    given = [target.id for node in tree.body if isinstance(node, ast.Assign)
             for target in node.targets if isinstance(target, ast.Name)]
    return {name for name in given if name.isupper() and given.count(name) == 1}


def _otherwise_asked_for(tree: ast.Module) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute):
            yield node.attr
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value
        elif isinstance(node, ast.Global):
            yield from node.names
        elif isinstance(node, ast.alias) and node.asname:
            yield node.name


def _handed_on(trees: Mapping[str, ast.Module]) -> Iterator[str]:
    """What is imported from a module that has imported it itself."""
    for tree in trees.values():
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom) and node.module and node.module in trees:
                own = _constants(trees[node.module])
                yield from (alias.name for alias in node.names if alias.name not in own)


def _names(tree: ast.Module) -> set[str]:
    return {node.id for node in ast.walk(tree) if isinstance(node, ast.Name)}


def _imports(tree: ast.Module, home: str) -> Iterator[ast.alias]:
    """What a module imports from another."""
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module == home:
            yield from node.names


def _importers(trees: Mapping[str, ast.Module], home: str, name: str) -> list[str]:
    return [module for module, tree in trees.items()
            if any(alias.name == name for alias in _imports(tree, home))]


def _rename(tree: ast.Module, home: str, old: str, new: str) -> None:
    for alias in _imports(tree, home):
        if alias.name == old:
            alias.name = new
    for node in ast.walk(tree):
        if isinstance(node, ast.Name) and node.id == old:
            node.id = new
