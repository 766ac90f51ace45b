"""What the documents name exists: make targets, files, tests."""

import ast
import re

from tests.repo.tree import ROOT, name_of, repository_files

MARKDOWN = [path for path in repository_files() if path.suffix == ".md"]


def make_targets():
    """The targets that the Makefile documents."""
    return set(re.findall(r"^([a-z]+):.*## ", (ROOT / "Makefile").read_text(), re.MULTILINE))


def test_named_make_targets_exist():
    targets = make_targets()
    assert {"help", "demo", "test", "bench"} <= targets
    named = {
        (name_of(path), target)
        for path in MARKDOWN
        for line in code_of(path.read_text())
        for target in re.findall(r"\bmake ([a-z]+)", line)
    }
    assert ("README.md", "demo") in named
    assert not {(name, target) for name, target in named if target not in targets}


def code_of(text):
    """The code spans and the lines of code blocks of a Markdown text."""
    blocks = re.findall(r"^```.*?\n(.*?)^```", text, re.MULTILINE | re.DOTALL)
    spans = re.findall(r"`([^`\n]+)`", text)
    return [*spans, *(line for block in blocks for line in block.splitlines())]


def test_links_lead_to_files():
    missing = [
        (name_of(path), link)
        for path in MARKDOWN
        for link in re.findall(r"\]\(([^)#\s]+)[^)]*\)", path.read_text())
        if "://" not in link and not (path.parent / link).exists()
    ]
    assert not missing


def anchors(text):
    """What the headings of a Markdown text can be linked by: as the common renderers make them."""
    headings = re.findall(r"^#+ (.+)$", re.sub(r"^```.*?^```", "", text, flags=re.M | re.S), re.M)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}


def test_links_lead_to_headings():
    links = [
        (path, file, heading)
        for path in MARKDOWN
        for file, heading in re.findall(r"\]\(([^)#\s]*)#([^)\s]+)\)", path.read_text())
        if "://" not in file and (not file or file.endswith(".md"))
    ]
    assert len(links) > 20
    assert not [
        (name_of(path), file, heading) for path, file, heading in links
        if heading not in anchors((path.parent / file if file else path).read_text())
    ]


def test_requirements_name_tests_that_exist():
    text = (ROOT / "docs/requirements.md").read_text()
    named = re.findall(r"`(tests/[\w/]+\.py)::(\w+)`", text)
    assert named
    assert not [name for name in named if not has_test(*name)]


def has_test(name, function):
    """Whether the file defines this test."""
    path = ROOT / name
    if not path.exists():
        return False
    tree = ast.parse(path.read_text())
    return any(isinstance(node, ast.FunctionDef) and node.name == function for node in tree.body)


def test_every_requirement_says_how_it_is_proved():
    text = (ROOT / "docs/requirements.md").read_text()
    rows = re.findall(r"^\| (\d+(?:\.\d+)?) \|.*\| (.+) \|$", text, re.MULTILINE)
    assert {number.split(".")[0] for number, _ in rows} >= set("1234567")
    assert not [number for number, proof in rows if "tests/" not in proof and "open:" not in proof]


def test_firmware_comments_name_files_that_exist():
    names = {path.name for path in repository_files()}
    named = {
        (name_of(path), name)
        for path in repository_files()
        if path.suffix == ".py" and name_of(path).startswith("firmware/")
        for name in re.findall(r"(?<!\w)[a-z]\w*\.py\b", path.read_text())
    }
    assert ("firmware/rate_control/__init__.py", "controller.py") in named
    assert not {(file, name) for file, name in named if name not in names}
