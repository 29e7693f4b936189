"""One shot file from bytes to shots: the order of the steps, and nothing else."""

from dataclasses import replace

from pipeline.reading.meaning import Meaning, understand
from pipeline.reading.naming import heading
from pipeline.reading.outcomes import empty_shots, outcome
from pipeline.reading.parts import Refused
from pipeline.reading.sources import open_source
from pipeline.reading.tables import read_table
from pipeline.records import ColumnUse, FileReading, Given, RawTable, ShotFile
from pipeline.resources import table as data_table


def read_shot_file(file: ShotFile, given: Given) -> FileReading:
    """Read a shot file; whatever its bytes are, the result says what became of them."""
    opened = open_source(file, frozenset(given.columns))
    if isinstance(opened, Refused):
        return _refused(file, opened)
    table = read_table(opened.source, given, opened.warnings)
    if isinstance(table, Refused):
        return _refused(file, table)
    meaning = understand(table, given)
    if isinstance(meaning, Refused):
        return replace(_refused(file, meaning), header=_header(table))
    return usable(file.name, table, meaning)


def _refused(file: ShotFile, refused: Refused) -> FileReading:
    return FileReading(
        name=file.name,
        outcome=data_table("faults")["file"][refused.fault.kind]["outcome"],
        fault=refused.fault,
        dialect=refused.dialect,
        columns=refused.columns,
        unmapped=refused.unmapped,
        shots=empty_shots(),
        rejected=(),
        bad_cells=(),
        dropped=(),
        warnings=tuple(sorted(refused.warnings)),
        meta=refused.meta,
    )


def usable(name: str, table: RawTable, meaning: Meaning) -> FileReading:
    """Give the reading of a table that raises no question."""
    found = outcome(table, meaning)
    return FileReading(
        name=name,
        outcome="ok",
        fault=None,
        dialect=meaning.dialect,
        columns=tuple(_use(meaning, plan.field, plan.header) for plan in meaning.plans),
        unmapped=meaning.unmapped,
        shots=found.shots,
        rejected=tuple(sorted((*table.rejected, *found.rejected), key=lambda row: row.line)),
        bad_cells=found.bad_cells,
        dropped=table.dropped,
        warnings=tuple(sorted(meaning.warnings | found.warnings)),
        meta=table.meta,
        header=_header(table),
    )


def _header(table: RawTable) -> tuple[str, ...]:
    return tuple(heading(*pair).text for pair in zip(table.header, table.labels, strict=True))


def _use(meaning: Meaning, field: str, header: str) -> ColumnUse:
    scale = meaning.scales.get(field)
    return ColumnUse(header, field, scale.reported if scale else None, scale.unit_from if scale else "none")
