"""The sample valley: jobs and data to try everything on."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from layoutplan.errors import OutputError

SAMPLE_FILES = (
    "README.md", "job.toml", "job_land.toml", "job_osm.toml", "valley.gpkg", "valley.osm.pbf", "dem.tif", "towers.csv",
    "fault_currents.csv",
)  # fmt: skip


def write_sample(folder: Path) -> Path:
    """Write the files of the sample into a folder.

    Parameters
    ----------
    folder : Path
        Made if it is not there. A file of one of the names in it is left alone, and then nothing is written.

    Returns
    -------
    Path
        The job file.

    Raises
    ------
    OutputError
        If a file is there already, or one cannot be written; what was written before it is taken away again.
    """
    if there := [name for name in SAMPLE_FILES if (folder / name).exists() or (folder / name).is_symlink()]:
        raise OutputError(f"{folder / there[0]} exists and was left alone. Choose another folder.")
    written: list[Path] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in sample_contents().items():
            with (folder / name).open("xb") as file:
                written.append(folder / name)
                file.write(content)
    except OSError as err:
        for path in written:
            path.unlink(missing_ok=True)
        raise OutputError(f"{folder}: the sample cannot be written: {err.strerror}. Choose another folder.") from err
    return folder / "job.toml"


def sample_contents() -> dict[str, bytes]:
    """Contents of the sample's files, from the installed package or from the checkout it lies in.

    Returns
    -------
    dict of str to bytes
        By file name.
    """
    package = files("layoutplan")
    packed = package / "sample"
    home = packed if packed.is_dir() else Path(str(package)).parent / "sample_gis"
    return {name: (home / name).read_bytes() for name in SAMPLE_FILES}
