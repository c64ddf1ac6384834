"""The caution that stands beside every result."""

CAUTION = (
    "For planning and teaching only. The numbers follow from what was entered; local codes, the"
    " makers' data and licensed practice decide."
)
"""What stands beside every result."""
