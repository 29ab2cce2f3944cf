"""``python -m layoutplan`` is the command ``layoutplan``."""

from layoutplan.cli.main import main

main()
