"""A finding: one thing that was looked at, and what came of it.

Scenario rules, and later criteria, readings and diagnoses, all speak in findings, so one table,
one sentence and one page serve them all.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Verdict = Literal["ok", "warning", "error", "pass", "fail", "unclear", "not judged"]


@dataclass(frozen=True)
class Finding:
    """One thing that was looked at.

    Parameters
    ----------
    place
        Where: a key path such as ``control.lead_start``, or a thing such as ``P2``.
    verdict
        ``ok``, ``warning`` or ``error`` of a rule; ``pass``, ``fail`` or ``not judged`` of a
        criterion; ``unclear`` of a reading that cannot tell.
    reason
        What is the matter, in one sentence without a final stop.
    value
        What was found, as text with its unit; empty when there is none.
    limit
        What is accepted, as text; empty when there is none.
    fix
        What to do about it; empty when nothing is to be done.
    margin
        How far the value is from the limit, in ``unit``; positive on the good side.
    unit
        Unit of the margin.
    source
        Where the rule comes from.
    file, line
        The file and line it was found in, when known.
    """

    place: str
    verdict: Verdict
    reason: str
    value: str = ""
    limit: str = ""
    fix: str = ""
    margin: float | None = None
    unit: str = ""
    source: str = ""
    file: str = ""
    line: int | None = None

    def text(self) -> str:
        """Return one line: file, line, place, what is wrong, what was found, what to do."""
        where = self.file
        if self.line is not None:
            where += f":{self.line}"
        parts = [f"{where}: " if where else "", f"{self.place}: " if self.place else ""]
        parts.append(self.reason)
        if self.value:
            parts.append(f" (found {self.value}")
            parts.append(f"; accepted: {self.limit})" if self.limit else ")")
        elif self.limit:
            parts.append(f" (accepted: {self.limit})")
        if self.fix:
            parts.append(f"; {self.fix}")
        return "".join(parts)
