"""Pages with commands are followed as they stand, in an empty folder with an empty home (``walkthrough.py``)."""

import os
import shutil

import pytest

from .walkthrough import ROOT, empty_place, follow, is_as_told, steps

DOCS = ROOT / "docs"


@pytest.mark.long
def test_the_tutorial_works_as_it_stands(tmp_path):
    work, environment = empty_place(tmp_path)
    assert follow(DOCS / "tutorial.md", work, environment) == 12
    assert not any((tmp_path / "home").iterdir())  # nothing is left in anybody's home


@pytest.mark.long
def test_the_commands_that_cut_data_work_as_they_stand(tmp_path):
    """With the tools that the page names; in CI they must be there."""
    missing = [tool for tool in ("osmium", "ogr2ogr", "gdalwarp", "gdal_translate") if shutil.which(tool) is None]
    if missing:
        message = f"not on the PATH: {', '.join(missing)} (packages osmium-tool and gdal-bin)"
        pytest.fail(message) if os.environ.get("CI") else pytest.skip(message)
    work, environment = empty_place(tmp_path)
    assert follow(DOCS / "getting_data.md", work, environment) == 7


def test_what_the_tutorial_writes_and_types_is_found():
    found = list(steps((DOCS / "tutorial.md").read_text("utf-8")))
    written = [step.path for step in found if step.path]
    assert written == ["mine/towers.csv", "mine/draft.toml", "staked.csv", "mine/reel.toml"]
    typed = "".join(step.text for step in found if not step.path)
    for command in ("start --sample", "inspect", "plan", "explain", "export", "check", "compare"):
        assert f"layoutplan {command}" in typed


@pytest.mark.parametrize(
    ("told", "printed", "same"),
    [
        ("a\n…\nd\n", "a\nb\nc\nd\n", True),
        ("a\n…\nd\n", "a\nd\n", True),
        ("plan …, done\n", "plan T48R, done\n", True),
        ("a\n", "a\nb\n", False),  # more than the page says
        ("a\n…\n", "b\na\n", False),
        ("27 towers.\n", "27 towers!\n", False),  # what looks like a pattern is none
        ("plan …, done\n", "plan T48R,\ndone\n", False),
    ],
)
def test_what_is_left_open_is_what_the_page_leaves_open(told, printed, same):
    assert is_as_told(told, printed) is same


@pytest.mark.long
def test_a_page_that_is_wrong_fails(tmp_path):
    """A wrong output, a command that fails, and a file that is named."""
    work, environment = empty_place(tmp_path)
    page = tmp_path / "page.md"
    told = "```sh\ncat in/one.txt\n```\n```text\nfirst\n```\n"
    page.write_text(f"Write this to `in/one.txt`:\n\n```text\nfirst\n```\n\n{told}", "utf-8")
    assert follow(page, work, environment) == 1
    page.write_text("```sh\necho a\n```\n```text\nb\n```\n")
    with pytest.raises(AssertionError, match=r"page\.md, line 1: told"):
        follow(page, work, environment)
    page.write_text("```sh\nlayoutplan inspect none.toml\n```\n")
    with pytest.raises(AssertionError, match=r"page\.md, line 1: code 2"):
        follow(page, work, environment)
