"""Scores of ways across the kept excerpts: ``python -m tests.regression.write_scores``.

The facts are those of `truth.json`, so that no change of the hearing moves them; the renders are
at the rate of a quick listen.
"""

from dataclasses import replace
from functools import cache

from segue.analysis.facts import EdgeFacts, Ending, KeyFact, LevelFact, Opening, PulseFact
from segue.audio import read_song
from segue.audio.adapters import resampled
from segue.audio.loudness import integrated_lufs
from segue.audio.true_peak import true_peak_dbtp
from segue.job.songs_at_hand import QUICK_RATE_HZ
from segue.music.key import parse_key
from segue.plan import plan_segue
from segue.recipes import load_recipes, shelf_folder
from segue.render import render_candidate
from segue.score import score_candidate
from tests.regression.kept import DATA, SONGS, write

NAME = "scores.json"
PAIRS = (("00_groove_end", "01_groove_start"), ("06_chorale_end", "07_chorale_start"))
RECIPES = ("tempo ramp", "pad in the new key", "turnaround", "stop and count-in")
CASES = {
    f"{recipe}, {old} to {new}": (recipe, old, new) for old, new in PAIRS for recipe in RECIPES
}


@cache
def edge_of(name):
    song = read_song(DATA / SONGS[name]["file"], edge=SONGS[name]["edge"])
    stems = tuple(replace(s, clip=resampled(s.clip, QUICK_RATE_HZ)) for s in song.stems)
    return replace(song, stems=stems)


@cache
def facts_of(name):
    """The truth as facts."""
    song, edge = SONGS[name], edge_of(name)
    beats_s = tuple(song["beats_s"])
    ending = Ending(
        kind=song["kind"] or "keeps going",
        confidence=1.0,
        last_hit_s=beats_s[-1],
        sound_end_s=edge.end_s,
    )
    first_s = song["downbeats_s"][0]
    opening = Opening(
        kind=song["kind"] or "on the beat",
        confidence=1.0,
        sound_start_s=beats_s[0],
        first_downbeat_s=first_s,
        pickup_beats=float(beats_s.index(first_s)) if song["kind"] == "pick-up" else 0.0,
    )
    return EdgeFacts(
        file=song["file"],
        title=name,
        edge=song["edge"],
        duration_s=edge.duration_s,
        edge_start_s=edge.start_s,
        edge_end_s=edge.end_s,
        key=KeyFact(key=parse_key(song["key"]), confidence=1.0, source="given"),
        tuning_cents=song["tuning_cents"],
        pulse=PulseFact(
            tempo_bpm=song["tempo_bpm"],
            tempo_alternatives_bpm=(),
            beats_s=beats_s,
            downbeats_s=tuple(song["downbeats_s"]),
            metre=song["metre"],
            confidence=1.0,
            downbeat_confidence=1.0,
            residual_ms=0.0,
        ),
        level=LevelFact(
            loudness_lufs=integrated_lufs(edge.mix), true_peak_dbtp=true_peak_dbtp(edge.mix)
        ),
        ending=ending if song["edge"] == "end" else None,
        opening=opening if song["edge"] == "start" else None,
    )


@cache
def _shelf():
    return {recipe.name: recipe for recipe in load_recipes(shelf_folder())}


def scores(case):
    """Overall, and the value and the mark of every measure."""
    recipe, old, new = CASES[case]
    plan = plan_segue(_shelf()[recipe], facts_of(old), facts_of(new))
    candidate = render_candidate(plan, edge_of(old), edge_of(new))
    card = score_candidate(candidate, facts_of(old), facts_of(new))
    marks = {
        measure.name: [round(measure.value, 4), round(measure.score, 4)]
        for measure in card.measures
    }
    return {"overall": round(card.overall, 4), **marks}


if __name__ == "__main__":
    write(NAME, {case: scores(case) for case in CASES})
