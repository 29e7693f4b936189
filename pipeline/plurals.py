"""Counts in the words staff read."""


def many(count: int, thing: str) -> str:
    """Write a count with its noun: 1 visit, 2,000 visits."""
    return f"{count:,} {thing}{'s' * (count != 1)}"
