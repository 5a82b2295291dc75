"""The singer's planned first note, for tests that make a sound around it."""

import numpy as np

from segue.review.partials import N_PARTIALS
from segue.review.voice import HOP_S, PlannedVoice


def planned_voice(midi, start_s, stems=None):
    n_hops = 60
    return PlannedVoice(
        at_s=start_s + np.arange(n_hops) * HOP_S,
        midi=np.full(n_hops, midi),
        share=np.full((n_hops, N_PARTIALS), 0.8),
        level=np.broadcast_to(1.0 / np.arange(1, N_PARTIALS + 1), (n_hops, N_PARTIALS)),
        n_first=n_hops,
        is_tracked=True,
        stems=stems,
    )
