"""One word names one thing: each class has a name of its own; the glossary says what it is."""

import ast
import re
from collections import defaultdict

from tests.repo.tree import FIRMWARE, ROOT, python_files

GLOSSARY = ROOT / "docs" / "glossary.md"
ROW = re.compile(r"^\| \*\*([^*]+)\*\* \| .+? \| (.*?) \|$", re.MULTILINE)


def classes(trees):
    """The files of every class, by the name of the class."""
    found = defaultdict(list)
    for name, tree in trees:
        for node in ast.walk(tree):
            if isinstance(node, ast.ClassDef):
                found[node.name].append(name)
    return found


def kind(name):
    """A file, or what its siblings for other boards are too: `firmware/boards/*_pulses.py`."""
    return re.sub(r"^(firmware/boards/)[^/_]+_", r"\1*_", name)


def twice(trees):
    """Names of classes that stand in more than one kind of file, or twice in one file."""
    return {name: files for name, files in classes(trees).items()
            if len({kind(file) for file in files}) > 1 or len(set(files)) < len(files)}


def test_no_class_name_stands_twice():
    assert twice(python_files(ROOT / "host_sim", FIRMWARE)) == {}


def test_a_name_that_stands_twice_is_found():
    one, two = ast.parse("class Plot: pass"), ast.parse("class Plot: pass\nclass Field: pass")
    assert twice([("host_sim/a.py", one), ("firmware/b.py", two)]) == {
        "Plot": ["host_sim/a.py", "firmware/b.py"]}
    assert twice([("firmware/boards/rp2_a.py", one), ("firmware/boards/esp32_a.py", one)]) == {}
    assert twice([("host_sim/a.py", ast.parse("class Plot: pass\nclass Plot: pass"))])


def rows():
    """(word, what stands for it in the code) of the table of the glossary."""
    return ROW.findall(GLOSSARY.read_text(encoding="utf-8"))


def test_the_glossary_has_each_word_once_and_in_order():
    words = [word for word, _ in rows()]
    assert len(words) > 40
    assert words == sorted(set(words), key=str.lower)


def test_what_the_glossary_names_in_the_code_is_there():
    known = set(classes(python_files(ROOT / "host_sim", FIRMWARE)))
    missing = [(word, name) for word, code in rows()
               for name in re.findall(r"`([^`]+)`", code)
               if not ((ROOT / name).exists() if "/" in name else name in known)]
    assert missing == []
