"""A written plan held against the ground again: stakes moved, staked or read in the field, by the same rules."""
