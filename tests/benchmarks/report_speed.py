"""How long a report takes, beside the bare renderer on the same page: python tests/benchmarks/report_speed.py."""

import datetime as dt
import gc
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from pipeline import exports, outputs, report, session
from pipeline.pdf_writer import load
from pipeline.records import Fitting, Refusal, ShotFile, VisitFacts
from pipeline.resources import folder
from pipeline.settings import load as settings_of
from tests.benchmarks.levers_bench import struck

SETS, SHOTS = 5, 16
OWN = np.array([44.0, -1.5, 13.0, 1.43, 0.23])  # invented: club speed [m/s], attack and loft [deg], efficiency, grip
STEP = np.array([0.3, 0.8, 0.3, 0.008, -0.004])  # what each further club changes
SETTINGS = settings_of()
TARGET_MS = 150.0
TARGET_RATIO = 1.25
HEADER = (
    "Club,Club Speed (m/s),Ball Speed (m/s),Attack Angle (deg),Launch Angle (deg),Spin Rate (rpm),Carry (m),Total (m)"
)


def shot_file() -> ShotFile:
    """Invent 80 shots: an own driver and four others, sixteen each."""
    generator, lines = np.random.default_rng(80), [HEADER]
    for place in range(SETS):
        columns = struck(OWN + place * STEP, 1.0, SHOTS, generator)
        names = ("club_speed_mps", "ball_speed_mps", "attack_angle_deg", "launch_angle_deg", "spin_rate_rpm")
        rows = zip(*(columns[name] for name in (*names, "used_carry_m", "used_total_m")), strict=True)
        club = f"Driver {place}" if place else "Own driver"
        lines += [",".join([club, *(f"{value:.2f}" for value in row)]) for row in rows]
    return ShotFile("80 shots.csv", ("\n".join(lines) + "\n").encode())


def fitted(file: ShotFile) -> Fitting:
    """Work the visit out."""
    made = session.fit("visit", [file], VisitFacts(), SETTINGS, dt.date(2026, 11, 25), "0" * 64)
    if isinstance(made, Refusal):
        raise TypeError(made.what)
    return made


def before_rendering(file: ShotFile) -> str:
    """Do everything that comes before the renderer."""
    fitting = fitted(file)
    exports.fitting_json(fitting)
    exports.shots_csv(fitting)
    return report.render(fitting, SETTINGS)


def bare(html: str, **options: object) -> bytes:
    """Let the renderer alone make a PDF of the page."""
    return bytes(load().HTML(string=html, base_url=folder("report_templates").as_uri() + "/").write_pdf(**options))


def least(actions: dict[str, Callable[[], object]], rounds: int = 15) -> dict[str, float]:
    """Give the least processor time of each action [s].

    All in turns, so that a busy machine slows them alike; none pays for the rubbish another one left.
    """
    found = dict.fromkeys(actions, float("inf"))
    for _ in range(rounds):
        for name, action in actions.items():
            gc.collect()
            start = time.process_time()
            action()
            found[name] = min(found[name], time.process_time() - start)
    return found


def main() -> None:
    """Print the times and their ratios."""
    file = shot_file()
    html = before_rendering(file)
    took = least(
        {
            "before": lambda: before_rendering(file),
            "plain": lambda: bare(html),
            "tagged": lambda: bare(html, pdf_variant="pdf/a-3a"),
            "whole": lambda: outputs.files(fitted(file), SETTINGS),
        }
    )
    print(f"{SETS * SHOTS} shots, before rendering: {1000 * took['before']:.0f} ms (target {TARGET_MS:.0f})")
    print(f"whole visit to files: {1000 * took['whole']:.0f} ms")
    for name in ("plain", "tagged"):
        print(f"  {took['whole'] / took[name]:.2f} x the bare renderer, {name}: {1000 * took[name]:.0f} ms")
    print(f"  (target {TARGET_RATIO} x)")


if __name__ == "__main__":
    main()
