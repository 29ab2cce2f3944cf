"""Writing a profile: three plots, and beside each the figures it draws."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory

import pandas as pd
from matplotlib.figure import Figure

from layoutplan.errors import OutputError
from layoutplan.outputs.plot_parts import looks
from layoutplan.outputs.profile_line_plot import line_plot
from layoutplan.outputs.profile_plots import bearing_plot, distance_plot
from layoutplan.text import clean, csv_cell, file_stem

_UNDATED = {"svg": {"Date": None, "Creator": None}, "png": {"Software": None}}


def write_profile(
    tables: Mapping[str, pd.DataFrame],
    unknown: Mapping[str, str],
    rests_on: Sequence[str],
    folder: Path,
    picture: str,
) -> list[Path]:
    """Draw a profile into a folder; files of the same names are replaced, all others are left alone.

    Parameters
    ----------
    tables, unknown, rests_on
        As in :class:`layoutplan.planning.profile.Profile`.
    folder : Path
        Made if it does not exist.
    picture : str
        ``"png"`` or ``"svg"``. The same profile gives the same bytes.

    Returns
    -------
    list of Path
        Each picture before its table.

    Raises
    ------
    OutputError
        The folder cannot be written to.
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
    return _replace(contents, folder)


def _picture(figure: Figure, kind: str) -> bytes:
    file = BytesIO()
    figure.savefig(file, format=kind, metadata=_UNDATED[kind])
    return file.getvalue()


def _csv(table: pd.DataFrame) -> bytes:
    """RFC 4180, UTF-8; no cell that a spreadsheet would run; unknown figures are empty."""
    texts = table.select_dtypes(exclude=["number", "bool"]).columns
    inert = table.assign(**{column: table[column].map(lambda text: csv_cell(clean(text))) for column in texts})
    return inert.to_csv(index=False, lineterminator="\r\n").encode("utf-8")


def _replace(contents: Mapping[str, bytes], folder: Path) -> list[Path]:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with TemporaryDirectory(prefix=".layoutplan-", dir=folder) as staging:
            for file, content in contents.items():
                (Path(staging) / file).write_bytes(content)
            for file in contents:
                os.replace(Path(staging) / file, folder / file)
    except OSError as err:
        raise OutputError(
            f"'{folder}': the plots cannot be written there ({err.strerror}). Choose another folder."
        ) from err
    return [folder / file for file in contents]
