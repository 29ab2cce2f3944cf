"""The plan: stages put together, tables, statuses and reasons."""
