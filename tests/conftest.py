"""Settings of the property tests.

No deadline: a first import or a busy machine is no failure. The same examples every time: a check
that fails on Tuesday and not on Wednesday tells the wrong person. ``--hypothesis-profile=thorough``
looks much further, at new examples, before a release; what it finds becomes an example.
"""

from __future__ import annotations

import importlib
import pkgutil

from hypothesis import settings

import stationsim

# drawn examples take constants from the modules that are loaded: all of them, always, or the same
# test would draw other examples beside other files
for _module in pkgutil.walk_packages(stationsim.__path__, "stationsim."):
    if not _module.name.endswith("__main__"):
        importlib.import_module(_module.name)

settings.register_profile("house", deadline=None, derandomize=True)
settings.register_profile("thorough", deadline=None, max_examples=2000)
settings.load_profile("house")
