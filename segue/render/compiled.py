"""Loaded by the server that processes are forked from: what every bridge needs compiled is ready.

Compiled code is loaded when it is first called, and the first call of all loads much of the
compiler with it: once here, instead of once in each process.
"""

import numpy as np

from segue.audio.loudness import filtered
from segue.render.moving_filter import lowpassed

filtered(np.array([[1.0, 0.0, 0.0, 1.0, 0.0, 0.0]]), np.zeros(2))
lowpassed(np.zeros((2, 2), dtype=np.float32), np.full(2, 1_000.0), 48_000)
