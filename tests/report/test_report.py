"""The report: what it says, and what it never does; the PDF itself is in test_pdf."""

import datetime as dt
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from pipeline import exports, fitting_file, letter, lever_words, report, session, settings, tables, wording
from pipeline.judgements import Gap, Judged, SpreadComparison
from pipeline.records import Build, Fitting, ShotFile, VisitFacts
from pipeline.shown import NBSP

DRIVER_FILE = Path(__file__).resolve().parent.parent.parent / "inbox_example/customer 0142/driver shots.csv"
FitFiles = Callable[..., Fitting]
MakeFile = Callable[..., ShotFile]


def html(fitting: Fitting, studio: str = "") -> str:
    return report.render(fitting, settings.load(studio)).replace(NBSP, " ")


def test_page_one_answers(driver_fitting: Fitting) -> None:
    page = html(driver_fitting)
    lead = re.search(r'<p class="lead">(.*?)</p>', page)
    under = re.search(r'<p class="under">(.*?)</p>', page)
    assert lead
    assert under
    assert re.fullmatch(r"Driver 3 carried (about )?\d+ yards farther than your own club\.", lead.group(1))
    assert "You hit 32 balls and 27 of them counted." in under.group(1)


def test_a_club_is_called_by_the_name_staff_gave_it_in_every_word_and_picture(fit_files: FitFiles) -> None:
    file = ShotFile(DRIVER_FILE.name, DRIVER_FILE.read_bytes())
    facts = VisitFacts(builds=(Build("driver 3 ", name="Long & <straight>"),), own_club="Own driver")
    fitting = fit_files([file], facts)
    page = html(fitting)
    assert "Long &amp; &lt;straight&gt; carried" in page
    assert "Driver 2" in page
    assert re.search(r"<text[^>]*>(C  )?Long &amp; &lt;straight&gt;</text>", page)
    assert "Driver 3" not in page
    sent = letter.draft(fitting, settings.load(), b"%PDF-").get_body(("plain",))
    assert sent
    assert "Long & <straight>" in sent.get_content().replace("\n", " ")
    assert "Driver 3" not in sent.get_content()
    read = fitting_file.read(exports.fitting_json(fitting).encode(), "")
    assert [each.label for each in read.sets] == ["Own driver", "Driver 2", "Long & <straight>"]
    assert "Driver 3" in exports.shots_csv(fitting)  # as the shot file has it


@pytest.mark.parametrize(
    ("builds", "told"),
    [([("driver b", "DRIVER C")], ["Own driver", "driver b (DRIVER C)", "Driver c"]),
     ([("driver b", "New"), ("driver c", "new")], ["Own driver", "driver b (New)", "Driver c (new)"]),
     ([("driver b", "New"), ("driver c", "Newer")], ["Own driver", "New", "Newer"]),
     ([("driver b", "Driver B")], ["Own driver", "Driver B", "Driver c"])],
)  # fmt: skip
def test_two_clubs_are_never_called_the_same(
    make_file: MakeFile, fit_files: FitFiles, builds: list[tuple[str, str]], told: list[str]
) -> None:
    facts = VisitFacts(builds=tuple(Build(label, name=name) for label, name in builds))
    fitting = fit_files([make_file(["Own driver", "driver b", "Driver c"], shots=9)], facts)
    page = wording.page_of(fitting, settings.load())
    assert [page.label(result) for result in fitting.sets] == told
    assert [each.label for each in fitting_file.read(exports.fitting_json(fitting).encode(), "").sets] == told


def test_one_of_anything_is_said_as_one(make_file: MakeFile, fit_files: FitFiles) -> None:
    page = html(fit_files([make_file(["Driver"], shots=1)]))
    assert "You hit 1 ball, and none had to be set aside. " in page
    assert "1 reading, and none had to be set aside.</p>" in page


def test_each_build_gets_a_whole_sentence(make_file: MakeFile, fit_files: FitFiles) -> None:
    page = html(fit_files([make_file(["Own driver", "driver b", "Driver c"], shots=9)]))
    answer = re.findall(r'<p class="answer">(.*?)</p>', page)[0]
    for label in ("driver b", "Driver c"):  # a label keeps its small letter
        assert re.search(rf"(^|\. )(For )?{label} (is likely longer|carries the same|it is not)", answer)
    assert answer.endswith(".")
    assert "; " not in answer.replace("settled; about", "")


def test_a_flight_like_the_own_clubs_is_said_so(driver_fitting: Fitting) -> None:
    same = {name: driver_fitting.sets[0].averages[name] for name in ("launch_angle_deg", "spin_rate_rpm")}
    best = replace(driver_fitting.sets[2], averages={**driver_fitting.sets[2].averages, **same})
    page = html(replace(driver_fitting, sets=(*driver_fitting.sets[:2], best)))
    assert (
        "Driver 3 started at about the same angle and with about the same spin, compared with your own club; its top"
        in page
    )


def test_shown_figures_subtract_or_say_about(driver_fitting: Fitting) -> None:
    page = html(driver_fitting)
    value = int(re.search(r'<p class="value">(\d+) <small>yd', page).group(1))  # type: ignore[union-attr]
    own = int(re.search(r"your own club: (\d+) yd", page).group(1))  # type: ignore[union-attr]
    said = re.search(r"carried (about )?(\d+) yards", page)
    assert said
    assert said.group(1) or value - own == int(said.group(2))


def test_units_and_paper_follow_the_studio(driver_fitting: Fitting) -> None:
    page = html(driver_fitting, 'units_shown = "metres"\npaper = "letter"')
    assert "metres farther" in page
    assert "km/h" in page
    assert "size: letter" in page
    assert " yd" not in page
    assert "mph" not in page


def test_every_shot_set_aside_is_listed_with_its_reason(driver_fitting: Fitting) -> None:
    page = html(driver_fitting)
    table = page[page.index('<table class="aside') :].split("</table>")[0]
    numbers = [int(n) for n in re.findall(r'<th scope="row" class="n">(\d+)</th>', table)]
    assert numbers == [s.number for s in driver_fitting.shots if s.fate.fate != "counted"]
    assert "but ball speed, launch and spin give about" in table
    assert "the same reading as shot 19" in table


def test_lines_that_could_not_be_read_are_listed(fit_files: FitFiles) -> None:
    rows = ["Club,Carry (yd)", *(f"Driver,{200 + i}" for i in range(6)), "Driver,9999", "Driver,200,3,4"]
    page = html(fit_files([ShotFile("invented.csv", "\n".join([*rows, ""]).encode())]))
    assert "the line could not be read (no believable value under “Carry (yd)”)" in page
    assert "the line could not be read (more cells than headings)" in page


def test_modelled_quantities_are_marked(iron_fitting: Fitting) -> None:
    page = html(iron_fitting)
    assert "yd</span>, modelled" in page
    assert "Worked out by our flight model, because the file does not give it: carry" in page


def test_a_studios_calibration_is_said(driver_fitting: Fitting) -> None:
    file = ShotFile("driver shots.csv", DRIVER_FILE.read_bytes())
    studio = settings.load("drag_multiplier = 1.05")
    made = session.fit("v", [file], VisitFacts(), studio, driver_fitting.date, "id")
    assert isinstance(made, Fitting)
    assert "drag × 1.050, lift × 1.000" in html(made)
    assert "calibrated to this studio" not in html(driver_fitting)
    assert made.device_check[0].centre > driver_fitting.device_check[0].centre + 0.01


def test_a_device_far_off_is_said(fit_files: FitFiles) -> None:
    rows = DRIVER_FILE.read_text(encoding="utf-8").replace("Carry (yd)", "Carry (m)")
    made = fit_files([ShotFile("invented.csv", rows.encode())])
    assert made.device_check[0].far_off
    assert "lies far from what ball speed, launch and spin give" in html(made)


def test_a_change_of_way_is_not_called_a_club(phases_fitting: Fitting) -> None:
    page = html(phases_fitting)
    assert "than “Ball wie immer”" in page
    assert "before you buy" not in page


@pytest.mark.parametrize(
    "caution", ["Rules of Golf", "one person hits", "estimates for the stated air", "erased when you ask"]
)
def test_the_usual_cautions_are_there(driver_fitting: Fitting, caution: str) -> None:
    assert caution in html(driver_fitting)


HOSTILE = [
    "<script>alert(1)</script>",
    "<img src=http://127.0.0.1:9/x.png>",
    "{{ 7*7 }}{% raw %}",
    "&lt;b&gt; \" ' `",
    "\u202edriver\u202c",
    "Ω Łąka ñ 7 iron",
    "x" * 300,
]


@pytest.mark.parametrize("label", HOSTILE)
def test_hostile_labels_are_text_and_nothing_else(label: str, make_file: MakeFile, fit_files: FitFiles) -> None:
    facts = VisitFacts(customer=label, notes=label)
    made = fit_files([make_file(["Own driver", label])], facts)
    page = html(made)
    assert "<script" not in page
    assert "<img" not in page
    assert "49" not in re.findall(r'<p class="notes">(.*?)</p>', page, re.DOTALL)[0]
    assert "x" * 90 not in re.sub(r'<p class="notes">.*?</p>', "", page)


SHAPES: dict[str, Callable[[MakeFile], ShotFile]] = {
    "one club": lambda make: make(["Own driver"]),
    "one shot": lambda make: make(["Own driver"], shots=1),
    "two shots each": lambda make: make(["Own driver", "Driver 2"], shots=2),
    "carry alone": lambda make: make(["Own driver", "Driver 2"], carry_only=True),
    "fourteen clubs": lambda make: make([f"Club {i}" for i in range(14)]),
    "a bag": lambda make: make(["Driver", "5 wood", "7 iron", "Sand wedge"]),
    "no carry": lambda _: ShotFile("x.csv", b"Club,Ball speed (mph)\nDriver,140\nDriver,141\nDriver,142\n"),
}


@pytest.mark.parametrize("shape", SHAPES)
def test_any_shape_of_visit_gives_a_page(shape: str, make_file: MakeFile, fit_files: FitFiles) -> None:
    page = html(fit_files([SHAPES[shape](make_file)]))
    assert page.count("<h1>") == 1
    assert "nan" not in re.sub(r"<[^>]+>", " ", page).lower().split()
    assert "None" not in page
    for drawing in re.findall(r"<svg.*?</svg>", page, re.DOTALL):
        assert "nan" not in drawing
        assert "<title>" in drawing


def test_the_home_course_is_explained() -> None:
    file = ShotFile("driver shots.csv", DRIVER_FILE.read_bytes())
    facts = VisitFacts(home_altitude_m=1609.0, own_club="Own driver")
    made = session.fit("v", [file], facts, settings.load(), dt.date(2026, 11, 25), "id")
    assert isinstance(made, Fitting)
    assert made.home is not None
    page = html(made)
    assert "On your home course (5279 ft above the sea, 68 °F) the air is 18 % thinner" in page
    own, there = made.sets[0].averages["carry_m"].mean, made.home.sets[0].carry_m
    assert 1.02 < there / own < 1.08
    assert f"A {there / 0.9144:.0f} yd instead of {own / 0.9144:.0f} yd" in page


def test_nothing_is_said_of_a_home_course_nobody_named(driver_fitting: Fitting) -> None:
    assert driver_fitting.home is None
    assert "home course" not in html(driver_fitting)


def test_a_device_that_states_another_air_is_restated_and_said_so() -> None:
    file = ShotFile("driver shots.csv", DRIVER_FILE.read_bytes())
    studio = settings.load("device_altitude_m = 1500")
    made = session.fit("v", [file], VisitFacts(), studio, dt.date(2026, 11, 25), "id")
    assert isinstance(made, Fitting)
    assert made.sources["carry_m"] == "restated"
    assert made.shots[0].used["carry_m"] < made.shots[0].measured["carry_m"]
    assert "Measured by the device for air at 68 °F, 4921 ft above the sea" in html(made)


def test_the_leading_build_is_not_promised_its_luck(driver_fitting: Fitting) -> None:
    [lead] = [e for e in driver_fitting.judged.expectations if driver_fitting.sets[e.build].set.label == "Driver 3"]
    assert 0 < lead.expected < lead.measured
    page = html(driver_fitting)
    assert f"In the long run expect about {lead.expected / 0.9144:.0f} yards: a measured best is partly luck." in page
    assert lead.farther > 0.95
    assert "Ball against ball it flies farther more than 9 times in 10." in page


def test_nothing_is_expected_where_nothing_leads(make_file: MakeFile, fit_files: FitFiles) -> None:
    assert "In the long run" not in html(fit_files([make_file(["Own driver"])]))
    longest = fit_files([make_file(["Driver 1", "Own driver"])])
    assert longest.judged.expectations[0].measured < 0
    assert "In the long run" not in html(longest)


# --- accuracy, order, bag -----------------------------------------------------------------------------------------
def test_accuracy_is_said_with_its_range_and_whose_baseline(driver_fitting: Fitting) -> None:
    page = html(driver_fitting)
    first = driver_fitting.judged.accuracies[0]
    times = [round(10 * share) for share in (first.fairway, first.fairway_low, first.fairway_high)]
    assert "{} in 10 ({} to {})".format(*times) in page
    assert "That is the rate of tour players (Broadie 2012)" in page
    assert "The fairway is taken to be 32 yards wide" in page
    assert "Whose balls lie closer together is not settled" in page
    assert "The fairway is taken to be 29 metres wide" in html(driver_fitting, 'units_shown = "metres"')


def test_no_fairway_is_counted_for_irons(iron_fitting: Fitting) -> None:
    page = html(iron_fitting)
    assert "How straight, and how close together?" in page
    assert "fairway is taken" not in page
    assert "On the fairway" not in page


@pytest.mark.parametrize(
    ("quantity", "ratio", "words"),
    [
        ("offline_m", 0.4, "lie closer together from left to right than with your own club; that is likely real."),
        ("offline_m", 2.5, "lie farther apart from left to right than with your own club; that is likely real."),
        ("carry_m", 0.4, "The carries with Driver 2 lie closer together than with your own club"),
        ("carry_m", 2.5, "The carries with Driver 2 lie farther apart than with your own club"),
    ],
)
def test_a_proven_difference_of_spreads_is_said(
    driver_fitting: Fitting, quantity: str, ratio: float, words: str
) -> None:
    spread = SpreadComparison(1, 0, 9, 9, quantity, ratio, 0.01, "likely_real")
    page = html(replace(driver_fitting, judged=replace(driver_fitting.judged, spreads=(spread,))))
    assert words in page
    assert "Whose balls lie closer together is not settled" not in page


def test_what_the_order_may_have_done_is_said_in_yards(driver_fitting: Fitting, iron_fitting: Fitting) -> None:
    could_be = max(effect.could_be for effect in driver_fitting.judged.orders) / 0.9144
    assert f"Up to about {could_be:.0f} yards of a difference may be warm-up or tiredness." in html(driver_fitting)
    assert "allows for each shot&#39;s place in the visit" not in html(driver_fitting)
    in_turn = html(iron_fitting)
    assert "warm-up or tiredness." not in in_turn
    assert "allows for each shot&#39;s place in the visit" in in_turn


def test_a_set_whose_mean_and_middle_part_is_named_with_both(driver_fitting: Fitting) -> None:
    fitting = replace(
        driver_fitting, judged=replace(driver_fitting.judged, parted=(1,)), cautions=("parted", "by_hand")
    )
    carry = driver_fitting.sets[1].averages["carry_m"]
    page = html(fitting)
    assert f"B average {carry.mean / 0.9144:.0f} yd, middle {carry.median / 0.9144:.0f} yd" in page
    assert "Your fitter decided by hand on 0 of the shots" in page


def test_a_bag_is_laid_out(make_file: MakeFile, fit_files: FitFiles) -> None:
    page = html(fit_files([make_file(["9 iron", "8 iron", "7 iron"], shots=12)]))
    assert "How do your clubs follow one another?" in page
    assert re.search(r"Your 3 clubs carry from 2\d\d yd down to 20\d yd.", page)
    assert "close together or a usual step" in page
    assert "Steps not settled by these shots: 2 of 2." in page


def test_what_is_sure_of_a_bag_is_said(make_file: MakeFile, fit_files: FitFiles) -> None:
    fitting = fit_files([make_file(["9 iron", "8 iron", "7 iron", "5 iron"])])
    gap = Gap(2, 1, 6, 6, 25.0, 20.0, 30.0, "hole", ("hole",), settled=True, shorter_farther=0.0, more_shots=None)
    near = replace(gap, longer=1, shorter=0, looks="overlap")
    even = replace(gap, longer=3, shorter=2, looks="even")
    laid_out = fitting.judged.bag
    assert laid_out is not None

    def page(*gaps: Gap, left_out: tuple[int, ...] = ()) -> str:
        bag = replace(laid_out, gaps=gaps, left_out=left_out)
        return html(replace(fitting, judged=replace(fitting.judged, bag=bag)))

    assert "Between 7 iron and 8 iron a distance is missing. 8 iron and 9 iron carry nearly the same." in page(
        gap, near
    )
    assert "All steps look usual." in page(even)
    assert "too few shots counted or they were too uneven: 9 iron." in page(gap, left_out=(0,))
    open_gap = replace(gap, may_be=("even", "hole"), settled=False, more_shots=4)
    assert "a usual step or far apart; about 4 balls more with each club would tell more" in page(open_gap)


def test_an_uneven_set_shows_its_middle_and_no_average(driver_fitting: Fitting) -> None:
    first = replace(driver_fitting.sets[0], uneven=True)
    fitting = replace(
        driver_fitting,
        sets=(first, *driver_fitting.sets[1:]), comparisons=(), judged=Judged(), cautions=("uneven",),
    )  # fmt: skip
    page = html(fitting)
    median = first.averages["carry_m"].median / 0.9144
    assert "The shots were too uneven to average." in page
    assert f"the middle one of the rest carried {median:.0f} yd." in page
    assert "true average" not in page[: page.index("What we suggest")]
    assert "too uneven to average, so the middle value is shown instead" in page


# --- levers -------------------------------------------------------------------------------------------------------
def test_each_lever_is_told_with_its_range_and_the_parts_sum(driver_fitting: Fitting) -> None:
    page = html(driver_fitting)
    told = next(s for s in driver_fitting.levers.from_own if s.build == 2)
    speed = next(gain for gain in told.carry.levers if gain.lever == "club_speed")
    low, middle, high = (f"{value / 0.9144:+.0f}" for value in (speed.low_m, speed.gain_m, speed.high_m))
    assert f"{middle} ({low} to {high})" in page
    assert told.carry.modelled is not None
    assert told.carry.measured_m == pytest.approx(
        sum(gain.gain_m for gain in told.carry.levers) + told.carry.unexplained.gain_m  # type: ignore[union-attr]
    )
    assert "Where did the distance come from?" in page
    assert "Driver 3, compared with your own club:" in page


def test_only_a_lever_that_is_sure_is_praised(driver_fitting: Fitting) -> None:
    told = driver_fitting.levers.from_own[-1]
    unsure = replace(told.carry.levers[0], sayable=False)
    story = replace(told, carry=replace(told.carry, levers=(unsure, *told.carry.levers[1:])))
    page = html(replace(driver_fitting, levers=replace(driver_fitting.levers, from_own=(story,))))
    assert "Club speed brought" in html(driver_fitting)
    assert "Club speed brought" not in page
    assert "cannot say for sure that they moved the distance: Club speed." in page


def test_attack_and_fit_are_told_as_one_where_lofts_are_unknown(iron_fitting: Fitting) -> None:
    page = html(iron_fitting)
    assert "Attack angle and fit together" in page
    assert "The static loft of both clubs is not known" in page
    assert ">A club that fits<" not in page[: page.index("What could still be gained")]


def test_room_stands_beside_its_cautions(driver_fitting: Fitting) -> None:
    page = html(driver_fitting)
    assert "Stop at any pain." in page
    assert "nothing here is promised" in page
    assert "What could still be gained with Driver 3, and how?" in page
    assert "Which launch suits you?" in page


def test_without_levers_the_report_has_no_empty_part(make_file: MakeFile, fit_files: FitFiles) -> None:
    page = html(fit_files([make_file(["driver a", "driver b"], carry_only=True)]))
    assert "Where did the distance come from?" not in page
    assert "What could still be gained" not in page


def test_page_one_in_the_readme_is_that_of_the_example(driver_fitting: Fitting) -> None:
    page = wording.page_of(driver_fitting, settings.load())
    facts = wording.facts(page)
    shown = " ".join((Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8").split())
    assert wording.lead(page, facts).replace(NBSP, " ") in shown
    assert wording.under(page, facts).replace(NBSP, " ") in shown
    ranges = [row["range"].replace(NBSP, " ").removesuffix(" yd") for row in tables.figures(page)]
    assert all(text in shown for text in ranges)
    for c in driver_fitting.comparisons:
        low, high = (page.words.signed(page.shown.convert(value, "length")) for value in (c.low, c.high))
        assert f"{low} to {high}" in shown


def test_every_distance_of_the_levers_says_how_it_is_known(driver_fitting: Fitting, iron_fitting: Fitting) -> None:
    """The example's drivers have a measured carry and a spin, its irons a modelled carry; a spin can be taken away."""
    known = [row["cells"][2] for row in lever_words.brought_table(wording.page_of(driver_fitting, settings.load()))]
    assert known == [*["modelled"] * (len(known) - 1), "measured"]
    modelled = lever_words.brought_table(wording.page_of(iron_fitting, settings.load()))
    assert {row["cells"][2] for row in modelled} == {"modelled"}
    guessed = replace(
        driver_fitting,
        levers=replace(
            driver_fitting.levers,
            from_own=tuple(replace(story, tier="no_spin") for story in driver_fitting.levers.from_own),
        ),
    )
    rows = lever_words.brought_table(wording.page_of(guessed, settings.load()))
    assert [row["cells"][2] for row in rows] == [*["partly guessed"] * (len(rows) - 1), "measured"]
    assert "carry, yd, modelled; bounded by" in html(driver_fitting).lower()
