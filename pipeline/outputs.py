"""A fitting → the files of its outbox folder."""

from pipeline import exports, pdf, report
from pipeline.records import Fitting
from pipeline.settings import Settings


def files(fitting: Fitting, settings: Settings) -> dict[str, bytes]:
    """Make report.pdf, shots.csv and fitting.json."""
    html = report.render(fitting, settings)
    return {
        "report.pdf": pdf.make(html, fitting.visit_id),
        "shots.csv": ("\ufeff" + exports.shots_csv(fitting)).encode(),
        "fitting.json": exports.fitting_json(fitting).encode(),
    }
