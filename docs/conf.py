"""How Sphinx turns the Markdown files of this repository into pages: `make pages`.

The source folder is the top of the repository, so that every link between Markdown files is the
same for a person who reads them in a repository viewer. The Markdown stays plain: no page
holds a table of contents for Sphinx. The contents are made here from the index pages
(README.md), whose links people follow too.
"""

from __future__ import annotations

import re
from pathlib import Path, PurePosixPath
from typing import Any

from docutils.parsers.rst import directives
from pygments.lexers.special import TextLexer
from sphinx.application import Sphinx
from sphinx.directives.code import CodeBlock

TOP = Path(__file__).resolve().parents[1]

project = "Liquid application rate controller"
author = "its contributors"
release = re.search(r'"(.+)"', (TOP / "firmware/app/version.py").read_text()).group(1)  # type: ignore[union-attr]
copyright = f"{author}; version {release}"

extensions = ["myst_parser"]
root_doc = "docs/README"
include_patterns = ["*.md", "docs/**.md", "hardware/*.md"]
exclude_patterns = [".*", "build", "out", "firmware", "host_sim", "tests"]
myst_heading_anchors = 6

html_theme = "furo"
html_title = project
html_static_path = ["pages.css"]
html_css_files = ["pages.css"]
html_show_search_summary = False  # it would ask for each page, which a file:// page may not
html_copy_source = False
html_show_sphinx = False
html_theme_options = {"navigation_with_keys": True}
# The theme's own, and a link to the twin in a page where `make web` says that it lies beside.
templates_path = ["templates"]
html_sidebars = {"**": [
    "sidebar/brand.html", "sidebar/search.html", "sidebar/scroll-start.html", "twin.html",
    "sidebar/navigation.html", "sidebar/scroll-end.html"]}

LINK = re.compile(r"\]\(([^)#\s]+\.md)(?:#[^)\s]*)?\)")
INDEX = "README"


def owned(index: PurePosixPath, text: str) -> list[str]:
    """The pages that stand below an index page in the contents, in the order of its links.

    An index owns the pages of its own folder and the indexes of other folders; the root owns also
    what no index of its own folder could.
    """
    pages: list[str] = []
    for link in LINK.findall(text):
        page = _normal(index.parent / link).removesuffix(".md")
        parent = PurePosixPath(page).parent
        is_index = PurePosixPath(page).name == INDEX
        below = parent == index.parent or (is_index and str(index) == root_doc)
        lone = str(index) == root_doc and str(parent) == "."
        if (below or lone) and page != str(index) and page not in pages:
            pages.append(page)
    return pages


def _normal(path: PurePosixPath) -> str:
    """The path without its steps upwards."""
    parts: list[str] = []
    for part in path.parts:
        if part == "..":
            parts.pop()
        else:
            parts.append(part)
    return "/".join(parts)


def add_contents(app: Sphinx, name: str, source: list[str]) -> None:
    """Give an index page its contents, which stay out of sight on the page itself."""
    page = PurePosixPath(name)
    if page.name == INDEX and len(page.parts) > 1:
        rows = "\n".join("/" + entry for entry in owned(page, source[0])
                         if (app.srcdir / f"{entry}.md").is_file())  # a dead link is told once
        if rows:
            source[0] += f"\n\n```{{toctree}}\n:hidden:\n\n{rows}\n```\n"


class CodeCell(CodeBlock):
    """A cell of a lab's sheet: shown as code; `python -m host_sim lab` runs it."""

    option_spec = {**CodeBlock.option_spec, "tags": directives.unchanged}


def setup(app: Sphinx) -> dict[str, Any]:
    """Called by Sphinx."""
    app.add_directive("code-cell", CodeCell)
    app.add_lexer("csv", TextLexer)  # a viewer may colour it; here it is plain
    app.connect("source-read", add_contents)
    return {"parallel_read_safe": True}
