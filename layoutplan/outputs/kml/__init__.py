"""``stakes.kml`` and ``stakes.kmz``: the plan for telephones, tablets and globes (KML 2.2); no network is needed."""

from __future__ import annotations

from pathlib import Path
from zipfile import ZIP_DEFLATED, ZIP_STORED, ZipFile, ZipInfo

from layoutplan.outputs.kml.document import kml_text
from layoutplan.outputs.kml.icons import icon_files
from layoutplan.planning.model import Plan

__all__ = ["write_kml", "write_kmz"]

_NO_CLOCK = (1980, 1, 1, 0, 0, 0)  # the earliest that a ZIP archive can hold
_PLAIN_FILE = 0o644 << 16


def write_kml(plan: Plan, folder: Path) -> Path:
    """Write one file of text; stakes are told apart by their names, for it can carry no signs of its own."""
    path = folder / "stakes.kml"
    path.write_text(kml_text(plan, icons=False), encoding="utf-8", newline="\n")
    return path


def write_kmz(plan: Plan, folder: Path) -> Path:
    """Write the same with the map's signs for H, S and the towers' statuses packed in; the text comes first."""
    path = folder / "stakes.kmz"
    with ZipFile(path, "w") as archive:
        archive.writestr(_member("doc.kml", ZIP_DEFLATED), kml_text(plan, icons=True).encode("utf-8"))
        for name, content in icon_files().items():
            archive.writestr(_member(name, ZIP_STORED), content)
    return path


def _member(name: str, method: int) -> ZipInfo:
    """Entry without clock and machine: the same plan gives the same bytes."""
    member = ZipInfo(name, _NO_CLOCK)
    member.compress_type, member.external_attr, member.create_system = method, _PLAIN_FILE, 3
    return member
