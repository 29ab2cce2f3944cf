"""The one way in for rasters: what a file names is looked at first, then GDAL opens it, with the network closed."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import rasterio
from rasterio.io import DatasetReader

from layoutplan.errors import InputError
from layoutplan.inputs import database
from layoutplan.inputs.door import CLOSED, RASTER_DRIVERS, require_at_most
from layoutplan.inputs.vector import require_file
from layoutplan.inputs.virtual import SUFFIX, check_vrt

_HEAD = 1024  # bytes
_FIX = "Cut out what the line needs and save it tiled, as a GeoTIFF"


def look_at_raster(path: Path) -> tuple[Path, ...]:
    """Look at a raster before GDAL does.

    Parameters
    ----------
    path : Path
        Of the raster.

    Returns
    -------
    tuple of Path
        Files elsewhere that it reads from; only virtual rasters have any.

    Raises
    ------
    InputError
        If it is no file on this machine, names services or steps to be run, or is of no kind that is read.
    """
    require_file(path)
    if path.is_dir():  # an Esri binary grid
        return ()
    with path.open("rb") as stream:
        head = stream.read(_HEAD)
    if head.startswith(database.MAGIC):
        database.check_database(path, views=False)
    if not is_plain(head):
        if path.suffix.lower() != SUFFIX:
            raise InputError(
                f"{path.name}: cannot be read as a raster: a text that names services, files or steps. Save it as a "
                "GeoTIFF; virtual rasters are named .vrt."
            )
        return check_vrt(path, _look_at_part)
    return ()


def is_plain(head: bytes) -> bool:
    r"""Whether the first bytes of a raster are those of data, not of XML or JSON that describe them.

    Parameters
    ----------
    head : bytes
        First bytes of the file.

    Returns
    -------
    bool

    Examples
    --------
    A TIFF, and a virtual raster:

    >>> is_plain(b"II*\x00"), is_plain(b"<VRTDataset>")
    (True, False)
    """
    text = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    return not text.startswith((b"<", b"{", b"[", b"\xff\xfe", b"\xfe\xff"))


def _look_at_part(part: Path) -> bool:
    require_file(part)
    if part.is_file():
        with part.open("rb") as stream:
            head = stream.read(_HEAD)
        if not is_plain(head):
            if part.suffix.lower() == SUFFIX:
                return True
            raise InputError(f"{part.name}: no raster, but a text that names services, files or steps. Leave it out.")
        if head.startswith(database.MAGIC):
            raise InputError(f"{part.name}: a database within a virtual raster is not read. Save it as a GeoTIFF.")
    with opened_raster(str(part)) as raster:
        require_sizes(raster, part.name)
    return False


@contextmanager
def opened_raster(name: str, **options: Any) -> Iterator[Any]:
    """Open a raster as one of the kinds that are read.

    Parameters
    ----------
    name : str
        As GDAL opens it.
    **options
        Further settings of GDAL.

    Yields
    ------
    rasterio.DatasetReader

    Raises
    ------
    RasterioError
        If it cannot be opened, or is of another kind.
    """
    # rasterio.open() takes one driver only; the class behind it takes all that are allowed
    with rasterio.Env(**CLOSED, **options), DatasetReader(name, driver=list(RASTER_DRIVERS)) as raster:
        yield raster


def require_sizes(raster: Any, where: str) -> None:
    """Refuse a raster that is larger than the job allows, in all or in what is read together.

    Parameters
    ----------
    raster : rasterio.DatasetReader
        Opened.
    where : str
        File, for the message.

    Raises
    ------
    InputError
        If it has too many cells.
    """
    require_at_most(raster.width * raster.height, "max_raster_cells", "cells", where, _FIX)
    for height, width in raster.block_shapes[:1]:
        require_at_most(height * width, "max_block_cells", "cells stored as one piece", where, _FIX)
