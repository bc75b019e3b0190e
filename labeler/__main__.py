"""The command line as a module: ``python -m labeler``."""

from labeler.cli.main import main

if __name__ == "__main__":
    main(prog_name="python -m labeler")
