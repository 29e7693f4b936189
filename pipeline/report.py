"""A fitting → the HTML of its report: sentences, figures, tables and pictures put into the template."""

from functools import cache
from typing import Any

import jinja2

from pipeline import later_words, lever_words, pictures, svg, tables, wording
from pipeline.branding import Logo
from pipeline.records import Fitting
from pipeline.resources import folder
from pipeline.settings import Settings
from pipeline.wording import Page

_FOOT_PT = 800  # three lines in the margin; a fourth would lie where printers do not print


def _heading(page: Page) -> dict[str, str]:
    kinds = {r.set.build.category or "unknown" for r in page.fitting.sets}
    kind = page.words.get(f"kind.{kinds.pop() if len(kinds) == 1 else 'several'}")
    who = (page.fitting.facts.customer or page.fitting.name)[:80]
    date = page.words.day(page.fitting.date)
    foot = page.settings.name, page.settings.address_line, page.settings.footnote
    version, short = (f", {text}" if text else "" for text in (wording.version(page), wording.version_number(page)))
    return {
        "title": page.words.say("document.title", who=who, date=date) + version,
        "heading": page.words.say("document.heading", kind=kind, who=who, date=date) + version,
        "running": page.words.say("document.heading", kind=kind, who=who[:40], date=date) + short,
        "foot": svg.clipped(" · ".join(t[:80] for t in foot if t), 8, _FOOT_PT),
    }


def _context(page: Page) -> dict[str, Any]:
    facts = wording.facts(page)
    return {
        **_heading(page),
        **_wordings(page),
        "day": page.fitting.date.isoformat(),
        "settings": page.settings,
        **compared(page),
        "figures": tables.figures(page),
        "recommendation": (page.fitting.facts.recommendation or "").strip()[:2000],
        "suggestions": wording.suggestions(page, facts),
        "pictures": pictures.all_pictures(page),
        "landing_read": page.words.get(
            f"read.{'landing' if any(r.ellipse for r in page.fitting.sets) else 'landing_few'}"
        ),
        "where_rows": tables.where_rows(page),
        **levers(page),
        "accuracy_table": tables.accuracy_table(page),
        "accuracy_sentences": later_words.accuracy_sentences(page),
        "bag_table": tables.bag_table(page),
        "bag_sentence": wording.bag_sentence(page),
        "flight_sentence": wording.flight_sentence(page),
        "launch_table": tables.averages(page, tables.LAUNCH),
        "flight_table": tables.averages(page, tables.FLIGHT),
        "counted_sentence": later_words.counted_sentence(page),
        "aside_rows": tables.aside_rows(page),
        "home_sentence": later_words.home_sentence(page),
        "how": later_words.how(page),
        "notes": (page.fitting.facts.notes or "")[:2000],
        "cautions": later_words.cautions(page),
    }


def _wordings(page: Page) -> dict[str, Any]:
    return {
        "language": page.words.get("document.code"),
        "t": page.words.tree,
        "breakable": page.words.breakable,
        "units": {"length": page.shown.unit("length")},
    }


def compared(page: Page) -> dict[str, Any]:
    """Give the answer, and what is said of each build against the own club."""
    facts = wording.facts(page)
    return {
        "lead": wording.lead(page, facts),
        "under": wording.under(page, facts),
        "which": page.say("headings.which", page.tells_of_ways()),
        "verdicts": wording.verdicts(page),
    }


def levers(page: Page) -> dict[str, Any]:
    """Give all that is said of the levers: what each brought, what each could still bring, what lies ahead."""
    ahead = lever_words.outlook(page)
    label = page.named(page.fitting.sets[ahead.set_index]) if ahead else ""
    return {
        "brought_table": lever_words.brought_table(page),
        "brought_sentences": lever_words.brought_sentences(page),
        "steps_table": lever_words.steps_table(page),
        "room_heading": page.words.say("headings.room", label=label),
        "ahead_heading": page.words.say("headings.ahead", label=label),
        "room_table": lever_words.room_table(page),
        "room_basis": lever_words.room_basis(page),
        "room_sentences": lever_words.room_sentences(page),
        "room_cautions": lever_words.room_cautions(page),
        "worth_table": lever_words.worth_table(page),
        "window_sentences": lever_words.window_sentences(page),
    }


def of_levers(page: Page) -> dict[str, Any]:
    """Give the report's comparison and levers by themselves, with the pictures that go with them."""
    return {**_wordings(page), **compared(page), **levers(page), "pictures": pictures.of_levers(page)}


@cache
def environment() -> jinja2.Environment:
    """Give the template engine: everything is escaped, an unknown name is an error."""
    loader = jinja2.FileSystemLoader(folder("report_templates"))
    return jinja2.Environment(loader=loader, autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True)


def render(fitting: Fitting, settings: Settings, logo: Logo | None = None) -> str:
    """Write the report's HTML; the logo travels inside it."""
    template = environment().get_template("report.html.j2")
    return template.render(_context(wording.page_of(fitting, settings)), logo=logo)
