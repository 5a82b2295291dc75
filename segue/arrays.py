"""Names of the arrays that pass between the parts; their shapes stand where they are used."""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
"""What is summed, filtered or measured."""
Floats32 = npt.NDArray[np.float32]
"""Sound at full scale ±1, and what is large: spectra, weights of nets."""
Flags = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]
