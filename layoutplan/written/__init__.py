"""A written plan read back: as data of somebody else, and as one plan, for reports, checks and further files."""
