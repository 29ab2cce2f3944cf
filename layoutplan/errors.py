"""What can go wrong, sorted by what the user has to fix.

::

    LayoutPlanError
    ├── JobError            the job file: syntax, unknown key, value out of range
    ├── InputError          a file the job names
    │   ├── LayerError      no such layer, empty, not the expected geometry
    │   ├── ColumnError     no such column, or a cell that cannot be used
    │   ├── CRSError        no coordinate reference system, or an unusable one
    │   └── LineError       towers and centreline do not make a line
    ├── InputRangeError     a number outside the range of a formula (also a ValueError)
    └── OutputError         the plan cannot be written or read back

Every message says what was found, where (file, layer, row, field) and how to fix it, in one or two lines.
"""

from __future__ import annotations


class LayoutPlanError(Exception):
    """Root of everything this package raises on purpose."""


class JobError(LayoutPlanError):
    """The job file cannot be used as it stands."""


class InputError(LayoutPlanError):
    """A file named in the job cannot be used as it stands."""


class LayerError(InputError):
    """A layer is missing, empty, or holds the wrong kind of geometry."""


class ColumnError(InputError):
    """A column is missing, or one of its cells cannot be used."""


class CRSError(InputError):
    """A layer has no coordinate reference system, or one that cannot be meant."""


class LineError(InputError):
    """Towers and centreline do not make up a line."""


class InputRangeError(LayoutPlanError, ValueError):
    """A number lies outside the range in which a formula holds."""


class OutputError(LayoutPlanError):
    """A plan cannot be written to, or read from, its folder."""
