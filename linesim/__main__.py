"""``python -m linesim`` is the command ``linesim``."""

from linesim.cli import main

if __name__ == "__main__":
    main()
