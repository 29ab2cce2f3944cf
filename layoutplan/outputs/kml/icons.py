"""The map's signs as small pictures, drawn here: they go into ``stakes.kmz``."""

from __future__ import annotations

import struct
import zlib
from functools import cache

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutplan.layout.rules import STATUSES
from layoutplan.outputs.map_page.styles import INK, SIGNS, STAKE_SIGNS

SIZE_PX = 48
_FINER = 4  # samples along each side of a pixel
_HALF = 1.9  # half the picture's side, in units of a sign's radius
_BORDER, _HALO = 0.22, 0.42  # around a sign, in the same unit


def icon_name(sign: str) -> str:
    """Name within the archive of the sign of a status or stake.

    Parameters
    ----------
    sign : str
        A status, or the sign of a stake.

    Returns
    -------
    str

    Examples
    --------
    >>> icon_name("H not yet")
    'icons/H_not_yet.png'
    """
    return f"icons/{sign.replace(' ', '_')}.png"


@cache
def icon_files() -> dict[str, bytes]:
    """Every sign as a picture.

    Returns
    -------
    dict of str to bytes
        PNG by name within the archive.
    """
    return {icon_name(sign): _png(_picture(sign)) for sign in (*STATUSES, *STAKE_SIGNS)}


def _picture(sign: str) -> NDArray[np.uint8]:
    """Sign on nothing, shape (size, size, 4): a white halo, a dark border, the sign's own filling."""
    shape = shapely.Polygon(np.asarray(SIGNS[sign]["points"], dtype=float))
    layers = ((_HALO, "#ffffff"), (_BORDER, INK), (0.0, str(SIGNS[sign]["fill"])))
    picture = np.zeros((SIZE_PX, SIZE_PX, 4))
    for widened, color in layers:
        cover = _cover(shapely.buffer(shape, widened, join_style="round") if widened else shape)
        rest = 1.0 - cover
        alpha = cover + picture[..., 3] * rest
        mixed = np.asarray(_rgb(color)) * cover[..., None] + picture[..., :3] * (picture[..., 3] * rest)[..., None]
        picture[..., :3] = mixed / np.where(alpha > 0, alpha, 1.0)[..., None]
        picture[..., 3] = alpha
    picture[..., 3] *= 255.0
    return np.round(picture).astype(np.uint8)


def _cover(shape: shapely.Geometry) -> NDArray[np.float64]:
    """Share of each pixel that a shape covers."""
    count = SIZE_PX * _FINER
    at = ((np.arange(count) + 0.5) / count * 2 - 1) * _HALF
    inside = shapely.contains_xy(shape, *np.meshgrid(at, at))
    return np.asarray(inside.reshape(SIZE_PX, _FINER, SIZE_PX, _FINER).mean(axis=(1, 3)))


def _rgb(color: str) -> tuple[int, int, int]:
    red, green, blue = (int(color[at : at + 2], 16) for at in (1, 3, 5))
    return red, green, blue


def _png(picture: NDArray[np.uint8]) -> bytes:
    """Encode 8-bit red, green, blue, alpha (PNG specification, W3C Recommendation: header, data and end chunks)."""
    height, width, _ = picture.shape
    rows = b"".join(b"\0" + row.tobytes() for row in picture)  # filter type 0 before each row
    header = struct.pack(">IIBBBBB", width, height, 8, 6, 0, 0, 0)
    chunks = ((b"IHDR", header), (b"IDAT", zlib.compress(rows, 9)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data)) for kind, data in chunks
    )
