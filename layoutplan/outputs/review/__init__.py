"""``review.html`` and ``review.csv``: every rule of every tower with its measured value, for whoever has to agree."""

from layoutplan.outputs.review.page import write_review
from layoutplan.outputs.review.table import write_review_table

__all__ = ["write_review", "write_review_table"]
