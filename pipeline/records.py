"""What one stage hands the next: frozen records, no behaviour beyond reading them."""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from pipeline.judgements import DeviceCheck, History, HomeCourse, Judged
from pipeline.lever_records import VisitLevers
from pipeline.room_records import Outlook

if TYPE_CHECKING:
    import datetime as dt

    import polars as pl


# --- reading ------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class ShotFile:
    """A file as it was dropped."""

    name: str
    content: bytes


@dataclass(frozen=True, slots=True)
class Given:
    """What is known beforehand about a file: from visit.toml or the studio's profile.

    handed: "right" | "left" | None. units: dimension → unit name, used only where the file states none.
    columns: exact header text → measurement name, "" to keep a column aside on purpose. column_units: header text →
    unit of its bare numbers, over what the file states. column_signs: header text → what + means in it (see
    schemas/profile.toml). decimal and date_order settle what the file leaves open.
    """

    handed: str | None = None
    units: dict[str, str] = field(default_factory=dict)
    columns: dict[str, str] = field(default_factory=dict)
    column_units: dict[str, str] = field(default_factory=dict)
    column_signs: dict[str, str] = field(default_factory=dict)
    decimal: str | None = None
    date_order: str | None = None


@dataclass(frozen=True, slots=True)
class Dialect:
    """How the text was written; None where it does not apply or nothing was parsed."""

    encoding: str | None = None
    delimiter: str | None = None
    decimal: str | None = None
    header_line: int | None = None
    units_line: int | None = None


@dataclass(frozen=True, slots=True)
class Row:
    """A row, or a cell of it, and what became of it; line is the physical line on which the record starts."""

    line: int
    reason: str
    column: str | None = None


@dataclass(frozen=True, slots=True)
class Fault:
    """Why a file cannot be used as it stands: its kind and the facts that kind carries (see schemas/faults.toml)."""

    kind: str
    facts: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class RawTable:
    """A file as text: one String column per header cell (c0, c1, …) plus `line`; nothing interpreted yet."""

    dialect: Dialect
    header: tuple[str, ...]  # names as they stand in the header's record
    labels: tuple[str, ...]  # same length: the group label over each name, "" without one
    unit_cells: tuple[str, ...]  # same length; "" where the units row says nothing or there is none
    cells: "pl.DataFrame"  # shots only; empty cells are null
    meta: dict[str, str]
    rejected: tuple[Row, ...]
    dropped: tuple[Row, ...]
    warnings: frozenset[str]
    quoted: bool = True  # a cell may hold the delimiter
    typed: bool = False  # numbers arrived as numbers (workbook, JSON): a point in them is the decimal mark


@dataclass(frozen=True, slots=True)
class ColumnUse:
    """What a column became; unit_from is header | units_row | cell | preamble | profile | default | none."""

    header: str
    field: str
    unit: str | None
    unit_from: str


@dataclass(frozen=True, slots=True)
class FileReading:
    """A shot file read: what each column became and every row's fate. `shots` has `line` and the columns of shot.toml.

    outcome is ok | needs_mapping | retry | quarantine; unless it is ok, fault says why and shots is empty.
    """

    name: str
    outcome: str
    fault: Fault | None
    dialect: Dialect
    columns: tuple[ColumnUse, ...]
    unmapped: tuple[str, ...]
    shots: "pl.DataFrame"
    rejected: tuple[Row, ...]
    bad_cells: tuple[Row, ...]
    dropped: tuple[Row, ...]
    warnings: tuple[str, ...]
    meta: dict[str, str]
    header: tuple[str, ...] = ()  # headings as read, in file order; empty when none was found


# --- what staff say about a visit ---------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Build:
    """A club as hit; None where nobody said. number is the 7 of a 7 iron, words what else its label says.

    label is what the shot files call it; name what the report calls it, where staff gave it one.
    """

    label: str
    category: str | None = None
    head: str | None = None
    loft_deg: float | None = None
    shaft: str | None = None
    length_m: float | None = None
    number: int | None = None
    words: str | None = None
    name: str | None = None

    @property
    def called(self) -> str:
        """Give what people read."""
        return self.name or self.label


@dataclass(frozen=True, slots=True)
class Overrule:
    """Staff's word on one shot."""

    file: str
    line: int
    counts: bool
    reason: str


@dataclass(frozen=True, slots=True)
class VisitFacts:
    """What visit.toml says; everything may be unknown."""

    customer: str | None = None
    email: str | None = None
    date: "dt.date | None" = None
    hand: str | None = None
    own_club: str | None = None
    notes: str | None = None
    recommendation: str | None = None  # the fitter's own, beside what the program suggests
    bay: str | None = None
    consent: str | None = None  # for staff alone: no report prints it
    home_altitude_m: float | None = None
    home_temperature_c: float | None = None
    builds: tuple[Build, ...] = ()
    order: tuple[tuple[str, int], ...] = ()  # label in small letters, place after the own club
    overrules: tuple[Overrule, ...] = ()


# --- analysis -----------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class ShotSet:
    """Shots with one build and one phase, in hitting order unless staff ordered them; letter is its mark in the report.

    The own club is the first.
    """

    index: int
    letter: str
    label: str
    phase: str
    build: Build
    is_own: bool


@dataclass(frozen=True, slots=True)
class Visit:
    """All readable shots of a visit: `shots` has number, file, line, set and the columns of shot.toml."""

    shots: "pl.DataFrame"
    sets: tuple[ShotSet, ...]
    own_club_from: str  # visit.toml | label | first hit


@dataclass(frozen=True, slots=True)
class Fate:
    """What became of a shot: counted | mishit | bad_read | asked, with the rule's code and the figures behind it."""

    fate: str
    code: str = ""
    figures: dict[str, float] = field(default_factory=dict)
    words: str = ""  # staff's reason when they overruled
    by: str = "rule"  # rule | statistics | staff


@dataclass(frozen=True, slots=True)
class Decided:
    """A visit read, flown and decided shot by shot: what all figures of its report, and the archive, are taken from.

    frame: all shots with measured, model_ and used_ columns; fates: one a row; sources: of the used quantities.
    """

    date: "dt.date"
    facts: VisitFacts
    files: tuple[FileReading, ...]
    sets: tuple[ShotSet, ...]
    own_club_from: str
    frame: "pl.DataFrame"
    fates: tuple[Fate, ...]
    sources: dict[str, str]


@dataclass(frozen=True, slots=True)
class DecidedTogether:
    """Many visits read, flown and decided at once, each as if alone: see Decided.

    frame has the shots of all, with the number of their `visit`; fates are one a row, all else one a visit.
    """

    dates: "tuple[dt.date, ...]"
    facts: tuple[VisitFacts, ...]
    files: tuple[tuple[FileReading, ...], ...]
    sets: tuple[tuple[ShotSet, ...], ...]
    own_club_from: tuple[str, ...]
    frame: "pl.DataFrame"
    fates: tuple[Fate, ...]
    sources: tuple[dict[str, str], ...]


@dataclass(frozen=True, slots=True)
class Average:
    """A quantity over the counted shots of a set; low and high bound the mean at 95 % (nan below two shots)."""

    quantity: str
    source: str  # measured | restated | modelled | run_modelled
    n: int
    mean: float
    median: float
    sd: float
    low: float
    high: float
    all_valid_mean: float
    method: str = "mean_of_counted_shots"


@dataclass(frozen=True, slots=True)
class Ellipse:
    """Where the next ball lands with that chance: centre and half-axes [m], angle from the target line [rad]."""

    level: float
    n: int
    carry_m: float
    offline_m: float
    long_axis_m: float
    short_axis_m: float
    angle_rad: float
    method: str = "hotelling_prediction"


@dataclass(frozen=True, slots=True)
class FlightLine:
    """The middle flight of a set seen from the side: forward and height, same length [m]."""

    forward_m: tuple[float, ...]
    height_m: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class SetResult:
    """Everything said about one set; uneven: too many shots were set aside to print an average as typical."""

    set: ShotSet
    n_counted: int
    n_mishit: int
    n_bad_read: int
    n_asked: int
    averages: dict[str, Average]
    ellipse: Ellipse | None
    flight: FlightLine | None
    uneven: bool

    def typical(self, quantity: str) -> float:
        """Give the mean of a quantity the set has, its median where the set is too uneven to average."""
        average = self.averages[quantity]
        return average.median if self.uneven else average.mean


@dataclass(frozen=True, slots=True)
class Comparison:
    """One set against the own club: difference of mean carry [m] with intervals made simultaneous over all of them.

    verdict: likely_real | same | not_settled; more_shots: about how many more with each club would tell it to within
    the smallest difference that matters, None when no reachable number would. half_low and half_high hold the true
    difference one time in two, taken alone. method: welch | welch_with_shot_number.
    """

    build: int
    against: int
    n_build: int
    n_against: int
    quantity: str
    difference: float
    low: float
    high: float
    half_low: float
    half_high: float
    verdict: str
    more_shots: int | None
    compared: int
    method: str = "welch"


@dataclass(frozen=True, slots=True)
class ShotResult:
    """One shot with its fate, measured and modelled values (missing ones left out)."""

    number: int
    file: str
    line: int
    set_index: int
    fate: Fate
    measured: dict[str, float]
    used: dict[str, float]


@dataclass(frozen=True, slots=True)
class AirUsed:
    """The air all distances are for; device_… the air the device states its own distances for, if that is another."""

    altitude_m: float
    temperature_c: float
    humidity_percent: float
    density_kgpm3: float
    firmness: str
    drag_multiplier: float
    lift_multiplier: float
    device_altitude_m: float | None = None
    device_temperature_c: float | None = None


@dataclass(frozen=True, slots=True)
class Fitting:
    """What the report says, for every reader of it: PDF, fitting.json, roll-up."""

    visit_id: str
    name: str
    date: "dt.date"
    facts: VisitFacts
    files: tuple[FileReading, ...]
    own_club_from: str
    air: AirUsed
    sets: tuple[SetResult, ...]
    shots: tuple[ShotResult, ...]
    sources: dict[str, str]
    comparisons: tuple[Comparison, ...]
    smallest_difference_m: float
    device_check: tuple[DeviceCheck, ...]
    home: HomeCourse | None
    cautions: tuple[str, ...]  # codes, worded by the vocabulary
    judged: Judged = field(default_factory=Judged)
    levers: VisitLevers = field(default_factory=VisitLevers)
    outlooks: tuple[Outlook, ...] = ()
    version: int = 1  # of its report
    version_date: "dt.date | None" = None  # the day that version was made; the first one needs none
    decided: Decided | None = field(default=None, compare=False, repr=False)
    history: History | None = None  # of the studio, when the visit was first worked out; None before there was one


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why no report can be made of a visit: what, where and what to do, in plain words."""

    outcome: str  # held | wait | set_back
    exit_code: int
    what: str
    where: str
    to_do: str
    answer: str = ""  # options of `baywright answer` that would settle it, with … for what is asked
