"""Gives the private attributes of all classes short names, before the firmware is compiled.

MicroPython keeps the name of every attribute in memory. A name with one leading underscore means
nothing outside the classes that use it, so classes that never meet can use the same few. Names of
methods stay: a traceback shows them.

Two names may meet in one object if they stand in the same module, or in modules whose classes
inherit from each other; such names stay apart.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping

from host_sim.build.short_names import short_names

SHORT = "_%d"
# the tests on a chip look at these
KEPT = {"_table", "_tick_error", "_unpolled_ticks"}


def shorten_attributes(trees: Mapping[str, ast.Module]) -> None:
    """Rename in place, through all modules of a program, given by name."""
    homes = _homes(trees)
    kept = KEPT | {name for tree in trees.values() for name in _other_names(tree)}
    places: dict[str, set[str]] = {}
    for module, tree in trees.items():
        for node in _private(tree):
            if node.attr not in kept:
                places.setdefault(node.attr, set()).add(homes[module])
    short = short_names(places, SHORT)
    for tree in trees.values():
        for node in _private(tree):
            node.attr = short.get(node.attr, node.attr)


def _other_names(tree: ast.Module) -> Iterator[str]:
    """What else has a name: methods, functions, classes, variables, what is imported."""
    for node in ast.walk(tree):
        if isinstance(node, (ast.FunctionDef, ast.ClassDef)):
            yield node.name
        elif isinstance(node, ast.Name):
            yield node.id
        elif isinstance(node, ast.alias):
            yield node.asname or node.name


def _private(tree: ast.Module) -> Iterator[ast.Attribute]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and node.attr[:1] == "_" != node.attr[1:2]:
            yield node


def _homes(trees: Mapping[str, ast.Module]) -> dict[str, str]:
    """One name for all modules whose classes inherit from each other, by module."""
    home = {module: module for module in trees}
    for module, tree in trees.items():
        imported = {alias.asname or alias.name: node.module for node in ast.walk(tree)
                    if isinstance(node, ast.ImportFrom) and node.module for alias in node.names}
        for node in ast.walk(tree):
            if not isinstance(node, ast.ClassDef):
                continue
            for base in node.bases:
                name = ast.unparse(base).partition(".")[0]
                source = imported.get(name, module)
                source = f"{source}.{name}" if f"{source}.{name}" in trees else source
                if source in home and home[source] != home[module]:
                    old, new = home[module], home[source]
                    home = {each: new if place == old else place for each, place in home.items()}
    return home
