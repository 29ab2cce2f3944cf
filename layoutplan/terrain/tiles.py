"""A bounded store of square tiles of cells, shared by all files and threads of a job."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Iterable
from threading import Lock

import numpy as np
from numpy.typing import NDArray

Tile = NDArray[np.float32]
Key = tuple[int, int, int]  # mosaic, row of tiles, column of tiles

TILE = 512
"""Cells along the side of a tile; a tile is 1 MiB."""
_MOST_TILES = 256


class TileStore:
    """The tiles used last; the oldest are dropped, so that memory stays the same however long the line is."""

    def __init__(self, most: int = _MOST_TILES) -> None:
        self.most = most
        self._tiles: OrderedDict[Key, Tile] = OrderedDict()
        self._lock = Lock()

    def get(self, keys: Iterable[Key], read: Callable[[list[Key]], dict[Key, Tile]]) -> dict[Key, Tile]:
        """Return tiles; those not in store are read in one go.

        Parameters
        ----------
        keys : iterable of tuple
            File, row and column of each tile.
        read : callable
            Takes the missing keys. Two threads may read the same tile; what they read is the same.

        Returns
        -------
        dict
            Tiles by key.
        """
        wanted = list(keys)
        with self._lock:
            found = {key: self._tiles[key] for key in wanted if key in self._tiles}
            for key in found:
                self._tiles.move_to_end(key)
        if missing := [key for key in wanted if key not in found]:
            fresh = read(missing)
            found |= fresh
            with self._lock:
                self._tiles |= fresh
                while len(self._tiles) > self.most:
                    self._tiles.popitem(last=False)
        return found
