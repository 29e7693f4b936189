"""A fitting → the files of its outbox folder."""

from pipeline import exports, letter, pdf_writer, report, typeface
from pipeline.branding import Logo
from pipeline.records import Fitting
from pipeline.settings import Settings
from pipeline.vocabulary import words

_MOST_NAMED = 8


def files(fitting: Fitting, settings: Settings, logo: Logo | None = None) -> dict[str, bytes]:
    """Make report.pdf, letter.eml, shots.csv and fitting.json."""
    shots = ("\ufeff" + exports.shots_csv(fitting)).encode()
    inside = pdf_writer.Attached("shots.csv", words(settings.language).get("document.shots"), shots, fitting.date)
    made = pdf_writer.write(report.render(fitting, settings, logo), fitting.visit_id, inside)
    return {
        "report.pdf": made,
        "letter.eml": letter.draft(fitting, settings, made).as_bytes(),
        "shots.csv": shots,
        "fitting.json": exports.fitting_json(fitting).encode(),
    }


def typeface_note(fitting: Fitting, settings: Settings) -> str:
    """Say which characters of the report's words its typeface lacks, by their codes: staff should know."""
    own, facts = (settings.name, settings.address_line, settings.footnote), fitting.facts
    labels = [text for result in fitting.sets for text in (result.set.build.called, result.set.phase)]
    reasons = [shot.fate.words for shot in fitting.shots]
    said = (facts.customer or fitting.name, facts.notes or "", facts.recommendation or "")
    missing = typeface.missing_characters([*own, *said, *labels, *reasons])
    if not missing:
        return ""
    codes = ", ".join(f"U+{ord(c):04X}" for c in missing[:_MOST_NAMED]) + ", …" * (len(missing) > _MOST_NAMED)
    return (
        f"the report's typeface lacks some characters of a name, a label or the notes ({codes}): "
        f"it prints {typeface.SUBSTITUTE} in their place, and leaves out marks on letters"
    )
