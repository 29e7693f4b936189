"""From a folder of shot files to a fitting report."""

__version__ = "0.1.0"
