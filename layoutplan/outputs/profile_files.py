"""Writing a profile: three plots, and beside each the figures it draws."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from io import BytesIO
from pathlib import Path

import pandas as pd
from matplotlib.figure import Figure

from layoutplan.outputs.plot_parts import looks
from layoutplan.outputs.profile_line_plot import line_plot
from layoutplan.outputs.profile_plots import bearing_plot, distance_plot
from layoutplan.outputs.write import write_together
from layoutplan.text import clean, csv_cell, file_stem

_UNDATED = {"svg": {"Date": None, "Creator": None}, "png": {"Software": None}}


def write_profile(
    tables: Mapping[str, pd.DataFrame],
    unknown: Mapping[str, str],
    rests_on: Sequence[str],
    folder: Path,
    picture: str,
    inputs: Iterable[Path] = (),
) -> list[Path]:
    """Draw a profile into a folder; earlier ones of the same names are replaced, all other files are left alone.

    Parameters
    ----------
    tables, unknown, rests_on
        As in :class:`layoutplan.profiles.profile.Profile`.
    folder : Path
        Made if it does not exist.
    picture : str
        ``"png"`` or ``"svg"``. The same profile gives the same bytes.
    inputs : iterable of Path
        Files that were read; none of them is written over.

    Returns
    -------
    list of Path
        Each picture before its table.

    Raises
    ------
    OutputError
        If the folder cannot be written to, or a plot would be written over an input.
    """
    tower, line = (file_stem(tables["bearing"][key].iloc[0]) for key in ("tower_id", "line_id"))
    plots = (
        (f"{tower}_bearing", "bearing", bearing_plot),
        (f"{tower}_distance", "distance", distance_plot),
        (f"line_{line}", "line", line_plot),
    )
    contents: dict[str, bytes] = {}
    with looks():
        for stem, table, plot in plots:
            contents[f"{stem}.{picture}"] = _picture(plot(tables, unknown, rests_on), picture)
            contents[f"{stem}.csv"] = _csv(tables[table])
    return _replace(contents, folder, inputs)


def _picture(figure: Figure, kind: str) -> bytes:
    file = BytesIO()
    figure.savefig(file, format=kind, metadata=_UNDATED[kind])
    return file.getvalue()


def _csv(table: pd.DataFrame) -> bytes:
    """RFC 4180, UTF-8; no cell that a spreadsheet would run; unknown figures are empty."""
    texts = table.select_dtypes(exclude=["number", "bool"]).columns
    inert = table.assign(**{column: table[column].map(lambda text: csv_cell(clean(text))) for column in texts})
    return inert.to_csv(index=False, lineterminator="\r\n").encode("utf-8")


def _replace(contents: Mapping[str, bytes], folder: Path, inputs: Iterable[Path]) -> list[Path]:
    def make(staging: Path) -> list[Path]:
        for file, content in contents.items():
            (staging / file).write_bytes(content)
        return [staging / file for file in contents]

    return write_together(folder, make, inputs=inputs)
