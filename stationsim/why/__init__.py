"""Why a machine did, or did not, run at a moment: answered from the record of the run itself.

``answer(station, episode, at_s)`` runs the episode once more with somebody looking over the
controller's shoulder, so that what the panel saw and what it held in mind at each of its turns is
known and nothing has to be guessed. Looking on changes no bit of the run. Where the panel saw
another level than the true one, both are told. Where people answer, it tells who was where, what
they waited for, and who knew of which alarm: why nobody had come yet.
"""

from __future__ import annotations

from stationsim.why.scene import Answer
from stationsim.why.screen import answer, lines, people
from stationsim.why.watching import Watched, watched

__all__ = ["Answer", "Watched", "answer", "lines", "people", "watched"]
