"""The folder of a plan: one run at a time in it, its files replaced all together or not at all."""

from layoutplan.store.lock import alone_in
from layoutplan.store.replace import LOCK_NAME, final_folder, replace_all, staging_in
from layoutplan.store.settle import settle

__all__ = ["LOCK_NAME", "alone_in", "final_folder", "replace_all", "settle", "staging_in"]
