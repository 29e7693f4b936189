"""What a studio's archive teaches, once a day: a history for the next visits, and whether a bay's device drifts."""

from collections.abc import Mapping, Sequence
from pathlib import Path

from pipeline import bay_sessions, bay_words, history_text, model_sums
from pipeline.analysis.history import history_of
from pipeline.rollup_records import ArchiveManifest
from pipeline.vocabulary import words


def learned(paths: Sequence[Path], gone: Sequence[int], studio: str, set_up: Mapping[str, str]) -> dict[str, object]:
    """Give the history as text, empty while too little is known, and a sentence for each bay whose device drifts.

    set_up: the days on which bays of that studio were set up.
    """
    manifest = ArchiveManifest(tuple(paths), tuple(gone))
    history = history_of(model_sums.pieces(manifest)) if paths else None
    since = {(studio, bay): day for bay, day in set_up.items()}
    drifting = [of for of in bay_sessions.watches(manifest, since) if of.watch.alarm]
    english = words("en")  # staff are spoken to in English, reports in the studio's language
    return {
        "history": history_text.written(history) if history else "",
        "bays": [bay_words.sentence(english, of) for of in drifting],
    }
