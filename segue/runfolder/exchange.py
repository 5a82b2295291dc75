"""Two folders change places in one step, where the system has such a step.

References
----------
.. [Linux] rename(2), Linux manual pages: `renameat2` with `RENAME_EXCHANGE`, since
   Linux 3.15.
.. [Darwin] rename(2), Darwin manual pages: `renamex_np` with `RENAME_SWAP`, since
   macOS 10.12. From memory.
"""

from __future__ import annotations

import ctypes
import errno
import os
import sys
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from pathlib import Path

RENAME_EXCHANGE: Final = 2
"""Flag of `renameat2` [Linux]_."""
RENAME_SWAP: Final = 2
"""Flag of `renamex_np` [Darwin]_."""
_HERE: Final = -100
"""AT_FDCWD: paths start where the process is [Linux]_."""
_UNKNOWN: Final = {errno.ENOSYS, errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP}
"""What a system or a file system says that has no such step."""


def exchanged(one: Path, other: Path) -> bool:
    """Let two paths of one file system change places.

    Parameters
    ----------
    one, other : Path
        Both exist.

    Returns
    -------
    bool
        False where the system knows no such step; then nothing has changed.

    Raises
    ------
    OSError
        If it knows it, and may not do it.
    """
    try:
        library = ctypes.CDLL(None, use_errno=True)
        if sys.platform == "darwin":
            failed = library.renamex_np(os.fsencode(one), os.fsencode(other), RENAME_SWAP)
        else:
            failed = library.renameat2(
                _HERE, os.fsencode(one), _HERE, os.fsencode(other), RENAME_EXCHANGE
            )
    except (OSError, TypeError, AttributeError):  # no such library, or no such function in it
        return False
    if not failed:
        return True
    number = ctypes.get_errno()
    if number in _UNKNOWN:
        return False
    raise OSError(number, os.strerror(number), str(one))
