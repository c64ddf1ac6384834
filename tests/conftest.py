"""Settings of the property tests.

No deadline: a first import or a busy machine is no failure. ``--hypothesis-profile=thorough``
looks much further, before a release.
"""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("house", deadline=None)
settings.register_profile("thorough", deadline=None, max_examples=2000)
settings.load_profile("house")
