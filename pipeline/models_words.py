"""The manager's page in sentences: each earned by a rule of schemas/model_sentences.toml."""

import datetime as dt
import math
from collections import Counter
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass

from pipeline import typeface
from pipeline.rollup_records import (
    GROUP_SEPARATOR,
    CategoryRollUp,
    ModelEffect,
    ModelRow,
    ModelsFound,
    Part,
    Share,
    SpeedBand,
    Withheld,
)
from pipeline.settings import Settings
from pipeline.shown import NBSP, Shown
from pipeline.vocabulary import Words, words

LONGEST_LABEL = 60  # on paper; the whole name is in the workbook
MOST_NAMED = 5  # models a sentence names; the rest are counted
_WHOLE_FROM = 1.5  # shown units: smaller amounts get a decimal
_KINDS = ("driver", "wood", "hybrid", "iron", "wedge", "unknown")
_STUDIO_LETTERS = 8  # of the key of another studio


@dataclass(frozen=True)
class ModelsPage:
    """What every part of the page needs: what was found, how to show numbers, the words, and each model's label."""

    found: ModelsFound
    settings: Settings
    shown: Shown
    words: Words
    labels: dict[str, str]
    day: dt.date

    def label(self, model: str) -> str:
        """Name a model as the page does."""
        return self.labels[model]


def page_of(found: ModelsFound, settings: Settings, day: dt.date) -> ModelsPage:
    """Give the page of a day in the studio's language and units."""
    language = words(settings.language)
    names = sorted(
        {
            name
            for category in found.categories
            for name in (
                *(row.effect.model for row in category.models),
                *(one.model for one in category.withheld if one.model),
            )
        }
    )
    return ModelsPage(found, settings, Shown(settings.units_shown, language), language, _labels(names), day)


def one_line(text: str, longest: int = LONGEST_LABEL) -> str:
    """Write a name from outside in one line: blanks joined, what has no shape left out, cut where it is too long."""
    plain = " ".join(typeface.printable(" ".join(text.split())).split())
    return plain if len(plain) <= longest else plain[: longest - 1].rstrip() + "…"


def _labels(names: Iterable[str]) -> dict[str, str]:
    """Give each model a label of its own: those that would look alike get a number."""
    labels: dict[str, str] = {}
    taken: set[str] = set()
    for name in names:
        plain = label = one_line(name) or typeface.SUBSTITUTE
        number = 1
        while label in taken:
            number += 1
            label = f"{plain} ({number})"
        taken.add(label)
        labels[name] = label
    return labels


# --- figures ------------------------------------------------------------------------------------------------------
def signed(page: ModelsPage, metres: float, digits: int = 1) -> str:
    """Write a difference without its unit."""
    return page.words.signed(page.shown.convert(metres, "length"), digits)


def span(page: ModelsPage, middle: float, low: float, high: float) -> str:
    """Write a difference with its range, without unit."""
    low_text, high_text = (signed(page, value) for value in (low, high))
    return page.words.say("models.cell.effect", middle=signed(page, middle), low=low_text, high=high_text)


def with_unit(page: ModelsPage, metres: float) -> str:
    """Write a difference with its short unit."""
    return f"{signed(page, metres)}{NBSP}{page.shown.unit('length')}"


def amount(page: ModelsPage, metres: float) -> str:
    """Write a distance in long words, with a decimal where rounding would lose it."""
    return page.shown.distance(metres, 0 if page.shown.convert(metres, "length") >= _WHOLE_FROM else 1)


def count_of(page: ModelsPage, share: Share) -> str:
    """Write how many of how many, with the range of the share."""
    low, high = (page.words.number(100 * value) for value in (share.low, share.high))
    return page.words.say("models.cell.count", count=share.count, of=share.of, low=low, high=high)


def month(page: ModelsPage, text: str) -> str:
    """Write a month like 2026-11 in words."""
    year, number = text.split("-")
    name = page.words.get("document.months")[int(number) - 1]
    return page.words.say("models.document.month", month=name, year=year)


def months(page: ModelsPage, first: str, last: str) -> str:
    """Write from which month to which; one alone where both are the same."""
    if first == last:
        return month(page, first)
    return page.words.say("models.document.span", first=month(page, first), last=month(page, last))


def kind(page: ModelsPage, category: str) -> str:
    """Name a category: the job of the clubs in words, its number or letters, and what it was asked to be parted by."""
    clubs, *parts = category.split(GROUP_SEPARATOR)
    return page.words.listed(
        [job(page, clubs), *(_divided(page, by, part) for by, part in zip(page.found.by, parts, strict=True))]
    )


def job(page: ModelsPage, clubs: str) -> str:
    """Name what clubs do in the bag: the kind, with its number or letters."""
    name, _, which = clubs.partition(" ")
    known = page.words.get(f"kind.{name if name in _KINDS else 'unknown'}")
    return page.words.say("models.document.by_job", kind=known, which=which.upper()) if which else str(known)


def _divided(page: ModelsPage, by: str, value: str) -> str:
    """Name what divides a category from the others of its job."""
    if by == "month":
        return month(page, value)
    return studio(page, value) if by == "studio" else _build_part(page, by, value)


def studio(page: ModelsPage, key: str) -> str:
    """Name a studio: the own one by its name, another by the first letters of its key."""
    if key == page.found.studio:
        return one_line(page.settings.name)
    return page.words.say("models.document.studio", studio=one_line(key)[:_STUDIO_LETTERS])


def _build_part(page: ModelsPage, by: str, value: str) -> str:
    """Name a loft or a shaft."""
    if not value:
        return str(page.words.get(f"models.part.{by}_none"))
    said = one_line(value)
    if by == "loft":
        with suppress(ValueError):
            degrees = float(value)
            said = f"{page.words.number(degrees, 0 if degrees == round(degrees) else 1)}°"
    return page.words.say(f"models.part.{by}", value=said)


def verdict(page: ModelsPage, effect: ModelEffect) -> str:
    """Say a verdict in a word or two."""
    small = effect.verdict in ("better", "worse") and abs(effect.effect) < page.found.rules.worth
    return str(page.words.get(f"models.verdict.{effect.verdict}{'_small' if small else ''}"))


def place(page: ModelsPage, effect: ModelEffect) -> str:
    """Say which places a model may have."""
    if effect.rank_low is None:
        return "–"
    key = "place_sure" if effect.rank_low == effect.rank_high else "place"
    return page.words.say(f"models.cell.{key}", low=effect.rank_low, high=effect.rank_high, of=effect.ranked)


def minds(page: ModelsPage, row: ModelRow) -> str:
    """Name what a reader must mind of a row, in short."""
    return page.words.listed(page.words.get(f"models.mind.{code}") for code in row.caveats)


def part_name(page: ModelsPage, part: Part) -> str:
    """Name a loft or shaft, or the thin ones together."""
    if part.thin:
        return str(page.words.get(f"models.part.{part.kind}_thin"))
    return _build_part(page, part.kind, part.value)


def band_name(page: ModelsPage, band: SpeedBand) -> str:
    """Say which speeds a band holds."""
    low, high = (
        page.shown.full(value, "club_speed_mps") if math.isfinite(value) else ""
        for value in (band.from_mps, band.below_mps)
    )
    return page.words.say(f"models.band.{band.name}", low=low, high=high)


def why_withheld(page: ModelsPage, one: Withheld) -> str:
    """Say why nothing is told of a model."""
    fewest = page.found.rules.fewest_customers
    enough = bool(one.model) and one.reason == "few_customers" and one.customers >= fewest
    return page.words.say(f"models.withheld.{'few_compared' if enough else one.reason}", fewest=fewest)


# --- sentences ----------------------------------------------------------------------------------------------------
def title(page: ModelsPage) -> str:
    """Name the page."""
    found = page.found
    if not found.first_month:
        return str(page.words.get("models.document.heading_no_months"))
    return page.words.say("models.document.heading", span=months(page, found.first_month, found.last_month))


def lead(page: ModelsPage) -> str:
    """Say in one sentence what came of it."""
    verdicts = Counter(row.effect.verdict for category in page.found.categories for row in category.models)
    if not verdicts:
        return str(page.words.get("models.lead.none"))
    kinds = {name: verdicts[name] for name in ("better", "worse", "average")}
    return page.words.say("models.lead.some", models=verdicts.total(), open=verdicts["not_settled"], **kinds)


def under(page: ModelsPage) -> str:
    """Say what stands behind it, and whether a bay's readings have drifted."""
    found = page.found
    said = [page.words.say("models.under.behind", customers=found.customers, shots=found.shots)]
    if any(one.watch.alarm for one in found.watches):
        said.append(page.words.say("models.under.drifting", heading=page.words.get("models.headings.bays")))
    return " ".join(said)


def answer(page: ModelsPage, category: CategoryRollUp) -> list[str]:
    """Say which models went farther, which shorter, and what is open."""
    rows, say = category.models, page.words.say
    if not rows:
        return [say("models.answer.nothing", fewest=page.found.rules.fewest_customers)]
    groups = len({row.component for row in rows})
    apart = [say("models.answer.groups", n=groups)] if groups > 1 else []
    of = {name: [r for r in rows if r.effect.verdict == name] for name in ("better", "worse", "average", "not_settled")}
    if len(of["not_settled"]) == len(rows):
        return [say("models.answer.all_open"), *apart]
    said = []
    for name in ("better", "worse", "average"):
        ordered = sorted(of[name], key=lambda row: -abs(row.effect.effect)) if name == "worse" else of[name]
        if ordered:
            said.append(say(f"models.answer.{name}", list=_named(page, ordered)))
    if of["not_settled"]:
        said.append(say("models.answer.open", open=len(of["not_settled"]), models=len(rows)))
    return [*said, *apart]


def _named(page: ModelsPage, rows: Sequence[ModelRow]) -> str:
    """Name the first models with their effects and count the rest."""
    texts = [
        page.words.say(
            "models.answer.named", label=page.label(row.effect.model), effect=with_unit(page, row.effect.effect)
        )
        for row in rows[:MOST_NAMED]
    ]
    listed, more = page.words.listed(texts), len(rows) - MOST_NAMED
    return page.words.say("models.answer.more", list=listed, n=more) if more > 0 else listed


def unnamed(page: ModelsPage, category: CategoryRollUp) -> str:
    """Say how many shots count nowhere because nobody said the model."""
    shots = category.unnamed_shots
    return page.words.say("models.answer.unnamed", shots=shots) if shots else ""


def unknown(page: ModelsPage) -> str:
    """Name the kinds of clubs of which nothing can be said."""
    if not page.found.unknown:
        return ""
    return page.words.say(
        "models.answer.unknown", list=page.words.listed(kind(page, name) for name in page.found.unknown)
    )


def caveats(page: ModelsPage, rows: Iterable[ModelRow]) -> list[str]:
    """Explain what stands in the column of what to mind."""
    rules = page.found.rules
    codes = sorted({code for row in rows for code in row.caveats})
    before = month(page, rules.old_before) if rules.old_before else ""
    values = {"customers": rules.early_customers, "shots": rules.early_shots, "month": before}
    return [page.words.say(f"models.caveat.{code}", **values) for code in codes]


def how(page: ModelsPage) -> list[str]:
    """Say how it was worked out and what must be kept in mind."""
    say, found = page.words.say, page.found
    plain = [
        str(page.words.get(f"models.how.{key}"))
        for key in ("here", "level", "chosen", "luck", "own", "build", "promise")
    ]
    rules = found.rules
    width = amount(page, 2 * rules.rank_half_width)
    fewest = say("models.how.fewest", fewest=rules.fewest_customers, rank=rules.rank_customers, width=width)
    spreads = [
        say(
            "models.how.spreads", kind=kind(page, category.category), shot=amount(page, category.shot_sd),
            model=amount(page, category.model_sd), fit=amount(page, category.fit_sd),
        )
        for category in found.categories
        if category.models
    ]  # fmt: skip
    made = say("models.how.made", date=page.words.day(page.day))
    return [*_asked(page), *plain, fewest, *spreads, str(page.words.get("models.how.carry")), made]


def _asked(page: ModelsPage) -> list[str]:
    """Say which part of the archive was asked for."""
    say, found = page.words.say, page.found
    parts = [say("models.how.since", month=month(page, found.since))] if found.since else []
    parts += [say("models.how.until", month=month(page, found.until))] if found.until else []
    parts += [say("models.how.only", kind=job(page, found.kind))] if found.kind else []
    return [say("models.how.restricted", list=page.words.listed(parts))] if parts else []
