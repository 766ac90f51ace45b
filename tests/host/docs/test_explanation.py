"""The lines of Python on the pages of explanation give what the pages print."""

import doctest
import re

import pytest

from host_sim import REPO_ROOT

PAGES = sorted((REPO_ROOT / "docs" / "explanation").glob("*.md"))
BLOCK = re.compile(r"^( *)```pycon\n(.*?)^ *```", re.MULTILINE | re.DOTALL)
WITH_LINES = {"integers.md", "reciprocal_counting.md", "the_interlock.md", "the_loop.md",
              "timing.md", "uncertainty.md"}


def lines_of(text):
    """The examples of a page, one after the other, as they follow from each other."""
    return "\n".join(re.sub(f"^{indent}", "", block, flags=re.MULTILINE)
                     for indent, block in BLOCK.findall(text))


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_lines_give_what_the_page_prints(page):
    examples = doctest.DocTestParser().get_doctest(
        lines_of(page.read_text(encoding="utf-8")), {}, page.name, str(page), 0)
    assert bool(examples.examples) == (page.name in WITH_LINES)
    told = []
    result = doctest.DocTestRunner(verbose=False).run(examples, out=told.append)
    assert result.failed == 0, "".join(told)
