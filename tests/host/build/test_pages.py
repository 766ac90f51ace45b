"""`make pages`: every document becomes a page, and what is wrong in one ends it in a line."""

import shutil
from functools import partial

import pytest

from host_sim import REPO_ROOT
from host_sim.build import pages, web
from host_sim.common.errors import InputError
from tests.repo.tree import repository_files


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """The pages of this tree, made once."""
    out = tmp_path_factory.mktemp("pages") / "pages"
    pages.build(out)
    return out


def small_tree(folder, **texts):
    """A source with our conf.py and a few pages."""
    (folder / "docs").mkdir(parents=True)
    (folder / "firmware" / "app").mkdir(parents=True)
    (folder / "firmware" / "app" / "version.py").write_text('VERSION = "1.2.3"\n')
    for name in ("conf.py", "pages.css"):
        shutil.copy(REPO_ROOT / "docs" / name, folder / "docs" / name)
    shutil.copytree(REPO_ROOT / "docs/templates", folder / "docs/templates")
    for name, text in {"README": "# Top\n", **texts}.items():
        (folder / "docs" / f"{name}.md").write_text(text)
    return folder


def test_every_document_is_a_page(made):
    wanted = [path.relative_to(REPO_ROOT) for path in repository_files() if path.suffix == ".md"]
    documents = [path for path in wanted if path.parts[0] in ("docs", "hardware")
                 or len(path.parts) == 1]
    assert len(documents) > 50
    assert not [path for path in documents if not (made / path.with_suffix(".html")).is_file()]
    assert (made / "index.html").is_file()
    assert not list(made.rglob("*.doctree"))


def test_nothing_is_loaded_from_the_network(made):
    assert pages.faults_of(made) == []
    styles = "".join(path.read_text() for path in made.rglob("*.css"))
    assert "url(http" not in styles and "@import" not in styles


def test_search_knows_words_of_the_pages(made):
    index = (made / "searchindex.js").read_text()
    assert "docs/how_to/tune" in index
    assert '"droop"' in index or "droop:" in index


def test_whatever_leads_nowhere_is_told_and_nothing_is_written(tmp_path, monkeypatch):
    monkeypatch.setenv("FORCE_COLOR", "1")  # a CI service asks for colours; the lines stay plain
    text = "# Top\n\n[a](gone.md)\n\n[b](#nowhere)\n\n![c](gone.svg)\n"
    source = small_tree(tmp_path / "tree", README=text, lost="# No index names it\n")
    with pytest.raises(InputError) as error:
        pages.build(tmp_path / "out", source)
    told = sorted(str(error.value).splitlines())
    assert [line.split(" ")[0] for line in told] == [
        "docs/README.md:3:", "docs/README.md:5:", "docs/README.md:7:", "docs/lost.md:"]
    assert "gone.md" in told[0] and "nowhere" in told[1] and "gone.svg" in told[2]
    assert not (tmp_path / "out").exists() and not (tmp_path / "out.part").exists()


def test_old_pages_are_replaced_whole(tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    (out / pages.MARK).write_text("")
    (out / "old.html").write_text("<a href=nowhere>")
    pages.build(out, small_tree(tmp_path / "tree"))
    assert not (out / "old.html").exists() and (out / "docs" / "README.html").is_file()


def test_what_is_not_ours_stays(tmp_path):
    (tmp_path / "thesis.txt").write_text("mine")
    with pytest.raises(InputError, match="in the way"):
        pages.build(tmp_path)
    assert (tmp_path / "thesis.txt").read_text() == "mine"


def test_finished_pages_are_looked_at_too(tmp_path):
    (tmp_path / "a.html").write_text(
        '<script src="https://example.org/x.js"></script><a href="b.html#there">b</a>'
        '<a href="b.html#here">b</a><a href="c.html">c</a><a href="mailto:a@example.org">m</a>')
    (tmp_path / "b.html").write_text('<h1 id="here">b</h1>')
    assert pages.faults_of(tmp_path) == [
        "a.html: loads https://example.org/x.js from the network",
        "a.html: b.html#there leads to no heading",
        "a.html: c.html leads to no file",
    ]


def test_pages_alone_have_no_link_to_the_twin(made):
    assert "Drive the twin here" not in (made / "docs" / "README.html").read_text()


def test_both_in_one_folder_link_to_each_other(tmp_path, monkeypatch):
    """The real page of the site; what it loads is not looked at here."""
    source = small_tree(tmp_path / "tree")
    monkeypatch.setattr(web.site, "fetched", lambda cache: {})
    monkeypatch.setattr(web.site, "twin_archive", lambda: b"")
    monkeypatch.setattr(web.site, "licences", lambda: "")
    monkeypatch.setattr(web.pages, "build", partial(pages.build, source=source))
    out = tmp_path / "web"
    assert web.build(out) == 4  # README, its doorstep, search, index
    assert 'id="documents" href="../pages/index.html"' in (out / "site/index.html").read_text()
    assert pages.faults_of(out) == []  # every link, from one to the other too
    assert 'href="../../site/index.html"' in (out / "pages/docs/README.html").read_text()

    (source / "docs/README.md").write_text("[a](gone.md)\n")
    before = sorted(out.rglob("*"))
    with pytest.raises(InputError):
        web.build(out)
    assert sorted(out.rglob("*")) == before and not out.with_name("web.part").exists()
    (out / web.MARK).unlink()
    with pytest.raises(InputError, match="in the way"):
        web.build(out)
