"""A fitting → the files of its outbox folder."""

from pipeline import exports, letter, pdf, report
from pipeline.records import Fitting
from pipeline.settings import Settings
from pipeline.vocabulary import words


def files(fitting: Fitting, settings: Settings) -> dict[str, bytes]:
    """Make report.pdf, letter.eml, shots.csv and fitting.json."""
    shots = ("\ufeff" + exports.shots_csv(fitting)).encode()
    inside = pdf.Attached("shots.csv", words(settings.language).get("document.shots"), shots, fitting.date)
    made = pdf.make(report.render(fitting, settings), fitting.visit_id, inside)
    return {
        "report.pdf": made,
        "letter.eml": letter.draft(fitting, settings, made).as_bytes(),
        "shots.csv": shots,
        "fitting.json": exports.fitting_json(fitting).encode(),
    }
