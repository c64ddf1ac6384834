"""Settings of the property tests.

No deadline: a first import or a busy machine is no failure. The same examples every time: a check
that fails on Tuesday and not on Wednesday tells the wrong person. ``--hypothesis-profile=thorough``
looks much further, at new examples, before a release; what it finds becomes an example.
"""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("house", deadline=None, derandomize=True)
settings.register_profile("thorough", deadline=None, max_examples=2000)
settings.load_profile("house")
