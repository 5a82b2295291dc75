"""Lets ``python -m segue`` do what ``segue`` does."""

from segue.cli import main

if __name__ == "__main__":
    main()
