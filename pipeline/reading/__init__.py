"""Shot files: bytes in, shots with every row's fate out."""

from pipeline.reading.bulk import read_shot_files
from pipeline.reading.reader import read_shot_file
from pipeline.reading.showing import as_json
from pipeline.reading.unknown import unknown_columns_of

__all__ = ["as_json", "read_shot_file", "read_shot_files", "unknown_columns_of"]
