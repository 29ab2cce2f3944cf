"""The command line: parse, call, show. Nothing is decided here."""
