"""What the pattern of the readings suggests: suspects, how well each fits, and in what order."""

from stationsim.studies.acceptance.causes.ranked import Apart, Cause, causes_of

__all__ = ["Apart", "Cause", "causes_of"]
