"""``python -m layoutplan`` is the command ``layoutplan``."""

from __future__ import annotations

import os
import signal


def main() -> None:
    """Run the command line; Ctrl+C ends it quietly from here on, while its parts are still being loaded too."""
    if hasattr(signal, "SIGINT"):
        signal.signal(signal.SIGINT, lambda _number, _frame: os._exit(130))
    from layoutplan.cli.main import main as run

    run()


if __name__ == "__main__":
    main()
