"""``stakes.kml`` and ``stakes.kmz``: the plan for telephones, tablets and globes (KML 2.2); no network is needed."""

from __future__ import annotations

from pathlib import Path

from layoutplan.archive import write_archive
from layoutplan.layout.model import Plan
from layoutplan.outputs.kml.document import kml_text
from layoutplan.outputs.kml.icons import icon_files

__all__ = ["write_kml", "write_kmz"]


def write_kml(plan: Plan, folder: Path) -> Path:
    """Write one file of text; stakes differ by their names, for it can carry no signs of its own.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    folder : Path
        Where the file is made.

    Returns
    -------
    Path
        ``stakes.kml``.
    """
    path = folder / "stakes.kml"
    path.write_text(kml_text(plan, icons=False), encoding="utf-8", newline="\n")
    return path


def write_kmz(plan: Plan, folder: Path) -> Path:
    """Write the same with the map's signs for H, S and the towers' statuses packed in; the text comes first.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    folder : Path
        Where the file is made.

    Returns
    -------
    Path
        ``stakes.kmz``.
    """
    text = kml_text(plan, icons=True).encode("utf-8")
    return write_archive(folder / "stakes.kmz", {"doc.kml": text, **icon_files()}, packed=True)
