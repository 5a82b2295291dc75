"""Options of a run as a document keeps them, without sound."""

from segue.runfolder import BarReport, CandidateRecord
from segue.score.scorecard import CurveSample, Measure, Scorecard


def measure_of(name="level", *, score=0.5, **other):
    """A measure of one unit with that mark; `other` are further fields, or other ones."""
    fields = {
        "label": name,
        "value": 1.0,
        "unit": "LU",
        "threshold": "2 LU",
        "source": "set by judgement",
        "sentence": "A small step.",
    }
    return Measure(name=name, score=score, **(fields | other))


def card_of(score=0.5, *measures, **other):
    """A card with that mark, of a single measure unless others are given."""
    loudness = (CurveSample(time_s=0.0, value=-16.0),)
    fields = {"measures": measures or (measure_of(score=score),), "loudness_lufs": loudness}
    return Scorecard(overall=score, **(fields | other))


def record_of(plan, rank, *, scorecard, singer_s=None, **other):
    """A plan as if it had been rendered; `other` are further fields, or other ones."""
    fields = {
        "music_file": f"{rank}.wav",
        "click_file": f"{rank} click.wav",
        "cue_file": f"{rank} cue.wav",
        "picture_file": f"{rank}.png",
        "loudness_lufs": -16.0,
        "true_peak_dbtp": -1.0,
        "notes": (),
    }
    return CandidateRecord(
        rank=rank,
        plan=plan,
        scorecard=scorecard,
        bars=tuple(
            BarReport(number=line.number, time_s=plan.seconds_at(line.beat), section=line.section)
            for line in plan.bar_lines
        ),
        exit_s=plan.seconds_at(plan.exit_beat),
        entry_s=plan.seconds_at(plan.entry_beat),
        singer_s=singer_s,
        **(fields | other),
    )
