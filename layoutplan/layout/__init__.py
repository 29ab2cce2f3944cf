"""The finished plan: its tables, its rules and what follows from their verdicts."""
