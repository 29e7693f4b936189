"""Invented customers of a studio, as sums of shots, whose clubs truly differ by a known spread. No figure is real."""

from dataclasses import dataclass

import numpy as np
import polars as pl

YARD = 0.9144
COLUMNS = ("customer", "studio", "sitting", "category", "model", "loft", "shaft", "own", "n", "total", "squares")


@dataclass(frozen=True, slots=True)
class Customers:
    """So many customers, lengths in yards.

    spread: of the true carries of a customer's clubs; shot: middle spread of a customer's shots; uneven: spread of the
    logarithm of it; builds and shots: fewest and most, beside the own club and a club; own_loss: what own clubs lose.
    differ: freedoms of the chi-square by which the spread differs from customer to customer, None where it does not;
    misfit: share of customers whose own club loses another 15 yards.
    """

    many: int
    spread: float
    shot: float = 10.0
    uneven: float = 0.3
    builds: tuple[int, int] = (1, 4)
    shots: tuple[int, int] = (5, 12)
    own_loss: float = 0.0
    differ: float | None = None
    misfit: float = 0.0
    job: str = "driver"


def shot_spread(shot: float, uneven: float, generator: np.random.Generator) -> float:
    """Draw the spread of a customer's shots [yd]; the mean of its square is shot²."""
    return shot * float(np.exp(uneven * generator.standard_normal() - uneven**2))


def club_spread(of: Customers, generator: np.random.Generator) -> float:
    """Draw how far a customer's clubs truly lie apart [yd]; the mean of its square is spread²."""
    if of.differ is None:
        return of.spread
    return of.spread * float(np.sqrt((of.differ - 2) / generator.chisquare(of.differ)))


def own_loss(of: Customers, generator: np.random.Generator) -> float:
    """Draw what a customer's own club loses [yd]."""
    return of.own_loss + 15.0 * (generator.random() < of.misfit)


def pieces(of: Customers, seed: int) -> pl.DataFrame:
    """Make the pieces of one visit a customer [m]."""
    generator = np.random.default_rng(seed)
    rows = []
    for customer in range(of.many):
        spread, level = shot_spread(of.shot, of.uneven, generator), 200 + 20 * generator.standard_normal()
        apart, loss = club_spread(of, generator), own_loss(of, generator)
        for club in range(1 + int(generator.integers(of.builds[0], of.builds[1] + 1))):
            n = int(generator.integers(of.shots[0], of.shots[1] + 1))
            mean = level + apart * generator.standard_normal() - loss * (club == 0)
            carry = YARD * (mean + spread * generator.standard_normal(n))
            model = f"model {club}" if club else ""
            row = (customer, "s", customer, of.job, model, None, "", club == 0, n, carry.sum(), (carry**2).sum())
            rows.append(row)
    return pl.DataFrame(rows, schema=COLUMNS, orient="row", schema_overrides={"loft": pl.Int32})
