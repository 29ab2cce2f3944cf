"""How voltage and reading change around a tower and along its line."""
