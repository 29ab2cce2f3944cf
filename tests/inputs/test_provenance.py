from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path

import shapely

from layoutplan.inputs import provenance
from layoutplan.inputs.provenance import Ledger, sha256_of


def test_fingerprint_of_a_published_example(tmp_path: Path) -> None:
    # FIPS 180-2, appendix B.1: SHA-256 of "abc"
    path = tmp_path / "abc"
    path.write_bytes(b"abc")
    assert sha256_of(path) == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_folders_have_one_that_changes_with_any_file(tmp_path: Path) -> None:
    folder = tmp_path / "x.gdb"
    folder.mkdir()
    (folder / "a").write_text("1")
    first = sha256_of(folder)
    (folder / "b").write_text("2")
    second = sha256_of(folder)
    (folder / "b").rename(folder / "c")
    assert len({first, second, sha256_of(folder)}) == 3


def test_every_file_once_with_all_its_uses(tmp_path: Path) -> None:
    path = tmp_path / "a"
    path.write_bytes(b"abc")
    ledger = Ledger()
    ledger.note(path, "towers")
    ledger.note(path, "map", data_date="2024-05-01", attribution="the office")
    ledger.note(path, "map")
    (file,) = ledger.files()
    assert (file.used_for, file.data_date, file.attribution) == ("towers; map", "2024-05-01", "the office")


def test_parts_of_a_shapefile_are_all_listed(layer_file: Callable[..., Path]) -> None:
    path = layer_file([shapely.Point(1, 2)], "m.shp", a=[1])
    ledger = Ledger()
    ledger.note(path, "map")
    found = {file.path.suffix: file.sha256 for file in ledger.files()}
    assert {".shp", ".shx", ".dbf", ".prj"} <= set(found)
    assert found[".dbf"] == hashlib.sha256(path.with_suffix(".dbf").read_bytes()).hexdigest()
    assert provenance.sha256_of(path) == found[".shp"]
