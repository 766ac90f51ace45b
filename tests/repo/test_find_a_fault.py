"""What the display says about trouble is found in find_a_fault.md, in the same words.

The texts are taken from the tables of the firmware, and, where they stand in its code, from
there: a new fault, permit or refusal fails here until the page has a row for it.
"""

import ast
import re

import pytest

from app import words
from app.grid import COLUMNS
from app.screens import bench, fault_words, faults, run
from host_sim import REPO_ROOT
from rate_control import interlock
from rate_control.faults import BLOCKING, TABLE

PAGE = REPO_ROOT / "docs" / "how_to" / "find_a_fault.md"
FIRMWARE = REPO_ROOT / "firmware"
SPEAKING = ("application.py", "kept_settings.py", "operations.py", "procedure_operations.py",
            "slots.py", "store.py")
# where a text that is returned or kept says what went wrong
SPEAKERS = (
    *(FIRMWARE / "app" / name for name in SPEAKING),
    *sorted((FIRMWARE / "rate_control" / "procedures").glob("*.py")),
)
# functions that ask or tell: their texts are no trouble
TELLING = {"prompt", "facts", "density_facts"}
# answers to a program that calls, never to a person at the knob
NOT_SHOWN = {"no such regulation", "must be a whole number", "not attached"}


def cells():
    """The first cell of each row of the page's tables, plain."""
    return {re.sub(r"[*`]", "", row).strip()
            for row in re.findall(r"^\| (.+?) \|", PAGE.read_text(encoding="utf-8"), re.M)}


def spoken(path):
    """Texts of more than one word that a file returns, keeps or passes on, up to a number in it."""
    found = set()
    for function in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(function, ast.FunctionDef) or function.name in TELLING:
            continue
        for statement in ast.walk(function):
            if isinstance(statement, ast.Return | ast.Assign | ast.Call):
                found |= {node.value.split("%")[0].strip(" :,")
                          for node in ast.walk(statement)
                          if isinstance(node, ast.Constant) and isinstance(node.value, str)}
    return {text for text in found if " " in text}



def constants(path):
    """Texts of more than one word that a file gives a name in capitals."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    values = [item.value for item in tree.body if isinstance(item, ast.Assign)]
    return {value.value for value in values
            if isinstance(value, ast.Constant) and " " in str(value.value)}


TABLES = {
    "what is missing": {text for _, text in words.MISSING} | {words.SEE_NOTES},
    "faults": {row[4] for row in TABLE},
    "coasting": {words.COASTING, words.COASTING_WHY},
    "screens": {faults.NEITHER, faults.RESTARTED, fault_words.OVER, run.NOT_BEGUN, bench.OVER[0]},
}


@pytest.mark.parametrize("table", TABLES)
def test_what_a_table_says_has_its_row(table):
    assert TABLES[table] - cells() == set()


@pytest.mark.parametrize("path", SPEAKERS, ids=lambda path: path.name)
def test_what_a_file_refuses_has_its_row(path):
    assert (spoken(path) | constants(path)) - cells() - NOT_SHOWN == set()


def test_the_title_of_a_fault_and_the_states_are_explained():
    text = PAGE.read_text(encoding="utf-8")
    assert f"`{fault_words.TITLE}`" in text
    states = {*interlock.STATE_NAMES, words.COASTING, "fixed duty"} - {"fault"}
    assert [state for state in states if f"*{state}*" not in text] == []


def test_faults_are_found_by_the_name_that_logs_give_them_too():
    text = PAGE.read_text(encoding="utf-8")
    assert [row[1] for row in TABLE if f"(`{row[1]}`)" not in text] == []
    stops = dict(re.findall(r"^\| (.+?) \| (yes|no) \|", text, re.M))
    for row in TABLE:
        assert stops[row[4]] == ("yes" if row[0] & BLOCKING else "no"), row[1]


def test_every_text_of_the_tables_fits_a_line_of_the_display():
    """So it is the same text wherever it is shown."""
    texts = [text for _, text in words.MISSING]
    texts += [row[4].split(":")[0] for row in TABLE] + [words.COASTING_WHY, words.SEE_NOTES,
                                                              fault_words.TITLE]
    assert [text for text in texts if len(text) > COLUMNS] == []


def test_the_words_are_searched_for_and_not_assumed():
    assert "all sections are asleep" not in cells()
    assert "only on the bench" in constants(FIRMWARE / "app" / "procedure_operations.py")
    assert "another procedure is running" in spoken(FIRMWARE / "app" / "procedure_operations.py")
