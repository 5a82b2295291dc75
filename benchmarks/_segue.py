"""Segue, asked through the calls behind ``segue analyse``.

The one place that knows Segue's own interface. ``took_s`` is the processor time of the
analysis on all threads, without the reading of the file, as for the general libraries.
"""

import time
from typing import Any

Item = dict[str, Any]

EDGE_S = 45.0
RATE_HZ = 48_000


def hear_with_segue(truth: Item) -> Item:
    """Segue's answer to an item, as ``segue analyse --json`` prints it."""
    from segue.analysis.hear import hear_edge
    from segue.audio import read_song
    from segue.cli.tables import facts_report

    song_edge = read_song(truth["path"], edge=truth["edge"], edge_s=EDGE_S, rate_hz=RATE_HZ)
    start_s = time.process_time()
    facts = hear_edge(song_edge)
    took_s = time.process_time() - start_s
    return facts_report(facts) | {"took_s": took_s}


def hear_first_note(truth: Item) -> Item:
    """The first note that Segue hears in a stem."""
    from segue.analysis.first_note import first_note_of
    from segue.audio import read_song

    song_edge = read_song(truth["path"], edge="start", edge_s=EDGE_S, rate_hz=RATE_HZ)
    start_s = time.process_time()
    note = first_note_of(song_edge.stems[0].clip)
    took_s = time.process_time() - start_s
    return {"first_note": note and {"midi": note.midi, "time_s": note.time_s}, "took_s": took_s}
