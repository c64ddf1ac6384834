"""Text to SI and back: the only place that knows units, and the only importer of pint.

A quantity is written as text, a number and a unit of a short list::

    1.9 m    35 L/s    800 gpm    4 h    1 h 30 min    22 kW

pint is never given what somebody typed. It is given our own definitions once, when the first
quantity is read, and gives an exact fraction for each unit of the list; from then on reading a
quantity is one multiplication of fractions, so what is read is the double nearest to what was
written.

A gallon here is a US gallon of 231 cubic inches. A horsepower is the mechanical one of
550 foot-pounds a second. An acre is one of international feet.

References
----------
Inch, foot, mile and pound: the international yard and pound agreement of 1959. Gallon, horsepower,
pound-force, bar and standard gravity: NIST Special Publication 811 (2008), appendix B.
"""

from stationsim.units.listed import (
    LARGEST,
    Kind,
    System,
    accepted,
    example,
    unit_name,
    with_article,
)
from stationsim.units.shown import Shown, show, shown_unit
from stationsim.units.text import factor, from_si, limit_text, parse, to_si, write

__all__ = [
    "LARGEST",
    "Kind",
    "Shown",
    "System",
    "accepted",
    "example",
    "factor",
    "from_si",
    "limit_text",
    "parse",
    "show",
    "shown_unit",
    "to_si",
    "unit_name",
    "with_article",
    "write",
]
