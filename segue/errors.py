"""Everything that can go wrong and that the person at the keyboard can mend.

A `SegueError` is reported as its one sentence and exit code 2. Anything else
that escapes is our fault: exit code 1 and a trace in the log.
"""

from __future__ import annotations

import difflib
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence


_LONGEST_SHOWN: Final = 40  # letters of a value that a sentence repeats


class SegueError(Exception):
    """A fault that the person can mend; its text is one whole sentence."""


class InputError(SegueError):
    """A file or folder that cannot be used as it is.

    Parameters
    ----------
    problem : str
        What is wrong and what to do, without the path.
    """

    def __init__(self, path: str | Path, problem: str) -> None:
        self.path = Path(path)
        self.problem = problem
        super().__init__(f"{printable(path)}: {problem}")


class AudioFileError(InputError):
    """A song or stem that cannot be decoded."""


class LinesError(InputError):
    """A text file that says something impossible, told line by line.

    Parameters
    ----------
    *problems : tuple of (int, str)
        Line, or 0 for the file as a whole, and what is wrong there, as a sentence.
    """

    def __init__(self, path: str | Path, *problems: tuple[int, str]) -> None:
        super().__init__(path, " ".join(sentence for _, sentence in problems))
        self.sentences = tuple(
            f"{printable(path)}{f':{line}' if line else ''}: {sentence}"
            for line, sentence in problems
        )

    def __str__(self) -> str:
        return " ".join(self.sentences)


class RecipeError(LinesError):
    """A recipe file that says something impossible."""


class RunFolderError(InputError):
    """A run folder that cannot be read or written."""


class BusyFolderError(RunFolderError):
    """A folder that another process is writing just now: it may be waited for."""


class KeyNameError(SegueError):
    """A text that names no key."""


class OptionError(SegueError):
    """A command-line value that cannot be used."""


@contextmanager
def disk_faults(path: Path, problem: str, kind: type[InputError] = InputError) -> Iterator[None]:
    """Tell what the disk refuses in a `with` block.

    Parameters
    ----------
    problem : str
        What could not be done and what to do; ``{}`` stands for the reason that the system gives.

    Raises
    ------
    InputError
        Of that kind, in place of an `OSError`.
    """
    try:
        yield
    except OSError as error:
        raise kind(path, problem.format(error.strerror or error)) from error


def printable(path: str | Path) -> str:
    r"""Text of a path with control characters escaped, fit for one line.

    Parameters
    ----------
    path : str or Path
        Any path, also one with newlines or undecodable bytes in its name.

    Examples
    --------
    >>> printable("two\nlines.wav")
    'two\\nlines.wav'
    """
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in str(path))


def text_of(path: str | Path) -> str:
    r"""Text of a path that a text file can hold.

    Returns
    -------
    str
        The path as it is; only bytes that are no text are escaped.

    Examples
    --------
    >>> text_of("two\nlines \udcff.wav")
    'two\nlines \\udcff.wav'
    """
    return str(path).encode("utf-8", "backslashreplace").decode()


def shortened(text: str) -> str:
    """As much of a text as fits into a sentence, with control characters escaped.

    Examples
    --------
    >>> shortened("la" * 100)
    'lalalalalalalalalalalalalalalalalalalala…'
    """
    text = printable(text)
    return text if len(text) <= _LONGEST_SHOWN else f"{text[:_LONGEST_SHOWN]}…"


def listed(words: Sequence[str], last: str = "and") -> str:
    """Words as a sentence lists them.

    Examples
    --------
    >>> listed(["C", "Em", "G"]), listed(["48", "192"], "or"), listed(["C"])
    ('C, Em and G', '48 or 192', 'C')
    """
    head = ", ".join(words[:-1])
    return f"{head} {last} {words[-1]}" if head else "".join(words)


def counted(number: float, noun: str) -> str:
    """A number of things in words.

    Examples
    --------
    >>> counted(1, "bar"), counted(2, "bar"), counted(0.5, "bar")
    ('1 bar', '2 bars', '0.5 bars')
    """
    return f"{number:.9g} {noun}" + ("" if number == 1 else "s")


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Suggest the nearest known word, as a sentence to append, or nothing.

    Examples
    --------
    >>> did_you_mean("tmpo", ["tempo", "key"])
    " Did you mean 'tempo'?"
    """
    near = difflib.get_close_matches(word, list(known), n=1)
    return f" Did you mean '{near[0]}'?" if near else ""
