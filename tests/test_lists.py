"""What names files, formats and classes does so by the registry: nothing else must be added to when one is new."""

from pathlib import Path

from layoutplan.job import shipped_classes
from layoutplan.outputs import FORMATS

ROOT = Path(__file__).parents[1]


def test_the_recipes_name_what_is_there() -> None:
    """Every file that the recipes name is in the repository."""
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8").split("## Where things go")[1].split("## ")[0]
    named = {
        part for part in text.split("`") if "/" in part and " " not in part and part.endswith((".py", ".toml", ".md"))
    }
    assert len(named) > 10
    for name in named:
        assert any((ROOT / start / name).exists() for start in ("", "layoutplan")), name


def test_lists_follow_the_registry() -> None:
    """No test holds a list of all classes, formats or files, which a new one would have to be added to."""
    files = {file for entry in FORMATS.values() for file in entry.files}
    lists = {"classes": set(shipped_classes()), "formats": set(FORMATS), "files": files}
    for path in (ROOT / "tests").rglob("*.py"):
        text = path.read_text("utf-8")
        for what, names in lists.items():
            there = {name for name in names if f'"{name}"' in text}
            assert len(there) < 0.8 * len(names), f"{Path(path).name} lists {what}"
