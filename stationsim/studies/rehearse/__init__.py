"""How long have we got: minutes from a power loss to the alarm and to the spill, and from now.

``hours`` has the table by hour (:func:`stationsim.studies.rehearse.hours.rehearse`), ``now`` the
answer from now (:func:`stationsim.studies.rehearse.now.from_now`). They are imported one by one,
because the second has to answer at once.
"""
