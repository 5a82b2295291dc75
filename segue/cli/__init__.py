"""The command line: parses, calls, prints. `main` is the one error boundary."""

from segue.cli.boundary import main

__all__ = ["main"]
