"""The locator finds the line of every key, whatever TOML does in between."""

from __future__ import annotations

import pytest

from host_sim.common.errors import InputError
from host_sim.common.toml_source import TomlSource, field_name, key_lines

TEXT = '''\
title = "a [table] = like = this"  # comment = 1
[machine]
kind = "x"
pump.friction_nm = 0.3
widths = [
  1,  # ] not the end
  2,
]
[machine . "ground"]
noise_m_s = 1
long = """
[not.a.table]
kind = 3
"""
after = 2
[[event]]
at_s = 1
[[event]]
at_s = 2
inner = { a = 1, b = [1, 2] }
[event.sub]
deep = 1
[[event.list]]
deep = 1
[[event.list]]
deep = 2
'''


@pytest.mark.parametrize(
    ("where", "line"),
    [
        (("title",), 1),
        (("machine",), 2),
        (("machine", "kind"), 3),
        (("machine", "pump", "friction_nm"), 4),
        (("machine", "widths"), 5),
        (("machine", "ground"), 9),
        (("machine", "ground", "noise_m_s"), 10),
        (("machine", "ground", "long"), 11),
        (("machine", "ground", "after"), 15),
        (("event",), 16),
        (("event", 0, "at_s"), 17),
        (("event", 1, "at_s"), 19),
        (("event", 1, "inner"), 20),
        (("event", 1, "sub", "deep"), 22),
        (("event", 1, "list", 1, "deep"), 26),
    ],
)
def test_line_of_every_key(where, line):
    assert key_lines(TEXT)[where] == line


def test_what_has_no_line_of_its_own_points_to_what_is_around_it(tmp_path):
    path = tmp_path / "a.toml"
    path.write_text(TEXT)
    source = TomlSource(path)
    assert source.line(("event", 1, "inner", "a")) == 20
    assert source.line(("machine", "ground", "absent")) == 9
    assert source.line(("absent",)) == 1
    assert source.problem(("event", 1, "at_s"), "no") == f"{path}:19: event 2.at_s: no"


def test_field_names_count_from_one():
    assert field_name(("machine", "pump", "friction_nm")) == "machine.pump.friction_nm"
    assert field_name(("event", 0)) == "event 1"
    assert field_name(("event", 3, "at_s")) == "event 4.at_s"


@pytest.mark.parametrize(
    ("text", "line"),
    [("a = 1\nb = \n", 2), ("a = 1\n[b\n", 2), ("a = 1\na = 2\n", 2), ('a = "x', 1)],
)
def test_syntax_errors_name_file_and_line(tmp_path, text, line):
    path = tmp_path / "a.toml"
    path.write_text(text)
    with pytest.raises(InputError) as caught:
        TomlSource(path)
    assert str(caught.value).startswith(f"{path}:{line}: ")
    assert "\n" not in str(caught.value)


def test_unreadable_files_are_refused(tmp_path):
    path = tmp_path / "latin.toml"
    path.write_bytes(b"title = \"\xe9\"\n")
    with pytest.raises(InputError, match="not UTF-8"):
        TomlSource(path)
    for other in (tmp_path / "none.toml", tmp_path):
        with pytest.raises(InputError, match="cannot be read"):
            TomlSource(other)
