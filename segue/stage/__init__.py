"""Stage: a chosen candidate in, what the rig needs out.

`stage_pack` takes a run folder's document and leaves one folder: the music,
the click and the cue as separate files and as one multichannel file with
markers, the tempo map as a MIDI file, and a cue sheet to print. All of them
start on the same bar line, which is bar 1 everywhere.
"""

from segue.stage.pack import StageRequest, stage_pack

__all__ = ["StageRequest", "stage_pack"]
