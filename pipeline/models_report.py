"""What was found of club models → one page for the manager: for the PDF, or an HTML file that needs nothing else."""

import base64
import datetime as dt
import hashlib
import math
from collections.abc import Iterator, Sequence
from typing import Any

from markupsafe import Markup

from pipeline import bay_words, model_charts, models_tables, models_words, pictures, report, svg, typeface
from pipeline.models_words import ModelsPage
from pipeline.rollup_records import CategoryRollUp, ModelRow, ModelsFound
from pipeline.settings import Settings

_MOST_ROWS = 16  # of one picture: it cannot be divided, and a larger one would leave half a page of paper empty
_FOOT_PT = 500  # one line in the margin
_WEIGHTS = (("Regular", 400), ("Semibold", 600), ("Bold", 700))


# --- pictures -----------------------------------------------------------------------------------------------------
def _pictures(page: ModelsPage, rows: Sequence[ModelRow]) -> Iterator[Markup]:
    """Draw the models' effects, in as many pictures of one scale as paper needs."""
    views = [_view(page, row) for row in rows]
    worth = page.shown.convert(page.found.rules.worth, "length")
    each = math.ceil(len(views) / math.ceil(len(views) / _MOST_ROWS))
    for start in range(0, len(views), each):
        part = views[start : start + each]
        yield Markup(  # noqa: S704 - our own SVG, every text in it escaped
            model_charts.effects(part, worth, pictures.chart_words(page.shown), _spoken(page, part), views)
        )


def _view(page: ModelsPage, row: ModelRow) -> model_charts.EffectRow:
    effect = row.effect
    low, high = (models_words.signed(page, value) for value in (effect.low, effect.high))
    return model_charts.EffectRow(
        page.label(effect.model),
        effect.verdict,
        page.shown.convert(effect.effect, "length"),
        (page.shown.convert(effect.low, "length"), page.shown.convert(effect.high, "length")),
        models_words.with_unit(page, effect.effect),
        page.words.say("models.cell.between", low=low, high=high),
    )


def _spoken(page: ModelsPage, views: Sequence[model_charts.EffectRow]) -> str:
    """Give the sentences a picture speaks: what it shows, then each model with its figures."""
    caption = page.words.get("models.picture.effects")
    lines = [
        page.words.say("picture.told", name=view.label, figures=f"{view.text_middle} ({view.text_range})")
        for view in views
    ]
    return " ".join([caption, *lines])


# --- what the template needs --------------------------------------------------------------------------------------
def _category(page: ModelsPage, category: CategoryRollUp) -> dict[str, Any]:
    by_group: dict[int, list[ModelRow]] = {}
    for row in category.models:
        by_group.setdefault(row.component, []).append(row)
    several = len(by_group) > 1
    return {
        "kind": models_words.kind(page, category.category),
        "answer": models_words.answer(page, category),
        "unnamed": models_words.unnamed(page, category),
        "groups": [
            {
                "heading": page.words.say("models.headings.group", number=number) if several else "",
                "pictures": list(_pictures(page, rows)),
                "effects": models_tables.effects(page, rows),
                "caveats": models_words.caveats(page, rows),
                "gains": models_tables.gains(page, rows),
                "carries": models_tables.carries(page, category, rows),
                "bands": models_tables.bands(page, category, rows),
                "parts": models_tables.parts(page, rows),
            }
            for number, rows in enumerate(by_group.values(), 1)
        ],
        "withheld": models_tables.withheld(page, category),
    }


def _context(page: ModelsPage) -> dict[str, Any]:
    found = page.found
    title = models_words.title(page)
    foot = page.settings.name, page.settings.address_line, page.settings.footnote
    alarms = found.watches[0].watch if found.watches else None
    smallest = models_words.amount(page, found.rules.worth)
    return {
        "title": title,
        "heading": title,
        "foot": svg.clipped(" · ".join(models_words.one_line(t, 80) for t in foot if t), 8, _FOOT_PT),
        "language": page.words.get("document.code"),
        "day": page.day.isoformat(),
        "t": page.words.tree,
        "settings": page.settings,
        "lead": models_words.lead(page),
        "under": models_words.under(page),
        "unknown": models_words.unknown(page),
        "categories": [_category(page, category) for category in found.categories],
        "read_effect": page.words.say("models.read.effect", smallest=smallest),
        "bays": models_tables.bays(page),
        "false_alarms": bay_words.false_alarms(page.words, alarms) if alarms else "",
        "how": models_words.how(page),
    }


# --- the page -----------------------------------------------------------------------------------------------------
def paper(found: ModelsFound, settings: Settings, day: dt.date) -> str:
    """Write the page for the PDF renderer; it takes its letters from our own fonts."""
    context = _context(models_words.page_of(found, settings, day))
    css = _styles(context, "fonts.css", "style.css", "models.css")
    return report.environment().get_template("models.html.j2").render(context, css=css, screen=None)


def screen(found: ModelsFound, settings: Settings, day: dt.date) -> str:
    """Write the page as one HTML file: it fetches nothing, runs no script but its own, and works without that."""
    context = _context(models_words.page_of(found, settings, day))
    template = report.environment().get_template("models.html.j2")
    script = _plain("models.js", context)
    plain = _styles(context, "style.css", "models.css", "screen.css")
    parts: dict[str, Any] = {"script": script, "policy": ""}
    letters = typeface.printable(template.render(context, css=plain, screen=parts))
    css = Markup(_faces(letters)) + plain  # noqa: S704 - our own fonts in letters of base64
    parts["policy"] = (
        f"default-src 'none'; style-src {_hash(css)}; script-src {_hash(script)}; font-src data:; "
        "base-uri 'none'; form-action 'none'"
    )
    return typeface.printable(template.render(context, css=css, screen=parts))


def _plain(name: str, context: dict[str, Any]) -> Markup:
    return Markup(report.environment().get_template(name).render(context))  # noqa: S704 - our own file


def _styles(context: dict[str, Any], *names: str) -> Markup:
    return Markup("").join(_plain(name, context) for name in names)


def _hash(text: str) -> str:
    """Name a text by its hash, as the page's policy wants it: nothing else may run or style it."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def _faces(letters: str) -> str:
    """Write the fonts into the page, with the letters it needs and no others."""
    faces = []
    for name, weight in _WEIGHTS:
        content = base64.b64encode(typeface.subset(f"SourceSans3-{name}.ttf", letters)).decode()
        source = f"url(data:font/woff;base64,{content})"
        faces.append(f'@font-face{{font-family:"Source Sans 3";src:{source};font-weight:{weight}}}\n')
    return "".join(faces)
