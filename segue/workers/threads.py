"""How many threads the numerical libraries take: one.

Two multiply our small matrices no sooner than one, and cost a third more processor time and
memory; several processes with a thread for each core get in each other's way. And with one the
last digits of a result do not depend on the machine's cores.
"""

from typing import Final

ONE_THREAD: Final = dict.fromkeys(
    ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1"
)
"""Environment that tells them so; they look at it when they are imported."""
