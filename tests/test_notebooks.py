"""The lessons run from top to bottom, say what they claim, and are stored without outputs.

To execute them takes a minute, so what needs that is marked slow; `.ci/run` runs it every time.
"""

from __future__ import annotations

import re
import shutil
import time
from pathlib import Path
from typing import Any

import nbformat
import pytest
from nbclient import NotebookClient

from stationsim.scenario.starter import starter_text

ROOT = Path(__file__).parents[1]
LESSONS = sorted((ROOT / "notebooks").glob("*.ipynb"))
LONGEST_CELL_S = 120

of_each = pytest.mark.parametrize("lesson", LESSONS, ids=lambda path: path.stem)


def read(lesson: Path) -> Any:
    return nbformat.read(lesson, as_version=4)


def code_cells(notebook: Any) -> list[Any]:
    return [cell for cell in notebook.cells if cell.cell_type == "code"]


def printed(notebook: Any) -> str:
    outputs = [output for cell in code_cells(notebook) for output in cell.outputs]
    return "".join(output.text for output in outputs if output.output_type == "stream")


def figures(notebook: Any) -> int:
    outputs = [output for cell in code_cells(notebook) for output in cell.outputs]
    return sum("image/png" in output.get("data", {}) for output in outputs)


class Executed(dict[str, Any]):
    """Lessons by name, each executed when it is first asked for, once for all workers.

    Whoever makes the folder of a lesson executes it; the others wait for what comes out.
    """

    def __init__(self, place: Path) -> None:
        super().__init__()
        self.place = place

    def __missing__(self, stem: str) -> Any:
        done, failed = self.place / f"{stem}.done", self.place / f"{stem}.failed"
        try:
            (self.place / stem).mkdir(parents=True)
        except FileExistsError:
            while not done.exists():
                if failed.exists():
                    pytest.fail(f"another worker: {failed.read_text(encoding='utf-8')}")
                time.sleep(0.1)  # the limit of pytest-timeout ends it
            self[stem] = nbformat.read(done, as_version=4)
            return self[stem]
        try:
            notebook = self._execute(stem, self.place / stem)
        except Exception as error:
            failed.write_text(str(error), encoding="utf-8")
            raise
        beside = done.with_suffix(".part")
        nbformat.write(notebook, beside)
        beside.rename(done)
        self[stem] = notebook
        return notebook

    def _execute(self, stem: str, place: Path) -> Any:
        """Execute a lesson in a folder of its own, with the scenarios beside it as in the repo."""
        shutil.copytree(ROOT / "scenarios", place / "scenarios")
        (place / "notebooks").mkdir()
        with pytest.MonkeyPatch.context() as patch:
            patch.setenv("IPYTHONDIR", str(place / "ipython"))  # nobody's own start-up files
            patch.setenv("JUPYTER_PLATFORM_DIRS", "1")  # else a warning about where its files lie
            client = NotebookClient(
                read(ROOT / "notebooks" / f"{stem}.ipynb"),
                timeout=LONGEST_CELL_S,
                kernel_name="python3",
                resources={"metadata": {"path": str(place / "notebooks")}},
            )
            notebook = client.execute()
        left = [path.name for path in (place / "notebooks").iterdir()]
        assert left == [], "a lesson leaves files beside itself"
        return notebook


@pytest.fixture(scope="session")
def executed(tmp_path_factory: pytest.TempPathFactory, worker_id: str) -> Executed:
    """Every lesson, executed when it is asked for."""
    base = tmp_path_factory.getbasetemp()
    return Executed((base if worker_id == "master" else base.parent) / "lessons")


def test_lessons_are_there() -> None:
    assert [lesson.stem for lesson in LESSONS] == [
        "1-the-tank",
        "2-a-station",
        "3-a-storm",
        "4-minutes-to-a-spill",
        "5-the-storm-in-which-alternation-stops",
        "6-a-drawdown-test",
        "7-the-same-crew-at-seven-and-at-three",
        "8-control-and-alarm-on-one-breaker",
        "9-lead-and-lag-by-hand",
    ]


@pytest.mark.slow
@of_each
def test_lesson_runs_from_top_to_bottom(lesson: Path, executed: dict[str, Any]) -> None:
    notebook = executed[lesson.stem]  # a failing cell, so a failing assertion in one, has raised
    counts = [cell.execution_count for cell in code_cells(notebook)]
    assert counts == list(range(1, len(counts) + 1))
    errors = [
        output.text
        for cell in code_cells(notebook)
        for output in cell.outputs
        if output.output_type == "stream" and output.name == "stderr"
    ]
    assert errors == []


@pytest.mark.slow
def test_tank_lesson_shows_hand_and_tool_alike(executed: dict[str, Any]) -> None:
    notebook = executed["1-the-tank"]
    text = printed(notebook)
    assert "fill: 628.3 s" in text
    assert "draw: 448.8 s" in text
    assert "cycle: 1077.1 s" in text
    assert "least cycle 17.45 min" in text
    assert "one pump:  3.44 starts per hour" in text
    assert "P1 of two: 1.72 starts per hour" in text
    assert figures(notebook) == 2


@pytest.mark.slow
def test_station_lesson_shows_the_reference_numbers(executed: dict[str, Any]) -> None:
    notebook = executed["2-a-station"]
    text = printed(notebook)
    assert "all together, lag start 1.80 m: 1.99 lag starts per hour" in text
    assert "staged,       lag start 1.80 m: 5.09" in text
    assert "staged,       lag start 1.60 m: 15.3" in text
    assert "to the alarm: 5.55 min" in text
    assert "to the spill: 38.7 min" in text
    assert figures(notebook) == 6


@pytest.mark.slow
def test_storm_lesson_shows_hand_and_tool_alike(executed: dict[str, Any]) -> None:
    notebook = executed["3-a-storm"]
    text = printed(notebook)
    # triangle of 300 m3 and base 3 h: 2 V / base, 8/9 V / (2 h), V / (12 h)
    assert "in an instant: 55.6 L/s" in text
    assert "in 2 h:        37.0 L/s, at 13:20" in text
    assert "in 12 h:       6.9 L/s" in text
    assert "in all    1260 m3" in text
    assert "by hand  5.80 m3 less" in text
    assert "by tool  5.80 m3" in text
    assert "spilled, by hand 35.5 m3, by the tool 35.5 m3" in text
    assert figures(notebook) == 7


@pytest.mark.slow
def test_spill_lesson_shows_hand_and_tool_alike(executed: dict[str, Any]) -> None:
    notebook = executed["4-minutes-to-a-spill"]
    text = printed(notebook)
    # 42.71 m3 of room; 20.79 of it arrive from 04:00 to 05:00, the rest by the root of q t + s t2/2
    assert "04:00: spill after 100.6 min; room over flow 161.8 min" in text
    assert "23:00  by pieces 116.8 min, room over flow 80.9 min, -31%" in text
    assert "wet, 07:00: by pieces 21.00 min, by the tool 21.00" in text
    assert "78 min from 07:00 bring 85.5 m3" in text
    assert "by hand, 07:00: 0.908 min per m3" in text
    # 8.042 m2 x 0.20 m in 300 s; 1.39 times the 3.85 L/s of the day's shape
    assert "by hand 5.36 L/s, 1.39 times" in text
    assert "07:00  9.4 loads an hour" in text
    assert figures(notebook) == 6


@pytest.mark.slow
def test_alternation_lesson_shows_hand_and_tool_alike(executed: dict[str, Any]) -> None:
    notebook = executed["5-the-storm-in-which-alternation-stops"]
    text = printed(notebook)
    # 7.0686 m2 x 0.30 m over 6 L/s, up and down
    assert "by hand  5.09296 starts of the lag in an hour, on 50 % of the time" in text
    assert "by tool  5.09296 starts of the lag in an hour" in text
    assert "lead 240.0 h, 1 start; lag 120.0 h, 1222 starts" in text
    assert "by hand  2.54648; by tool  2.54648" in text
    assert "Alternation stopped from Tue 13:02 to Wed 11:36" in text
    assert figures(notebook) == 3


@pytest.mark.slow
def test_drawdown_lesson_shows_hand_and_tool_alike(executed: dict[str, Any]) -> None:
    notebook = executed["6-a-drawdown-test"]
    text = printed(notebook)
    # 7.06858 m2 x 0.60 m / 200 s, and the mean of 0.30 m in 240 s and in 260 s
    assert "by hand  29.7016 L/s; without the inflow 28.6041% low" in text
    assert "by tool  29.7016 L/s; without the inflow 28.6041% low" in text
    # 5 L/s an hour, over the seconds by which the middles lie apart
    assert "-252.2 s apart: by hand -0.350 L/s, by tool -0.350" in text
    # fall: 250 and 106 mL/s; rises: 208 and 37, 192 and 31 mL/s, each halved
    assert "5 mm and 1 s  0.307 L/s, 1.03%" in text
    assert "by tool       0.307 L/s" in text
    # the area goes with the square of 3 over 2.94
    assert "diameter 2.94, not 3.0 m  by hand +4.1%, read +4.1 %" in text
    # 3.53429 m3 / 30 L/s, / 21.5 L/s
    assert "0.0 L/s coming in: by hand 118 s, by tool 118 s" in text
    assert "8.5 L/s coming in: by hand 164 s, by tool 164 s" in text
    assert figures(notebook) == 2


@pytest.mark.slow
def test_crew_lesson_shows_hand_and_tool_alike(executed: dict[str, Any]) -> None:
    notebook = executed["7-the-same-crew-at-seven-and-at-three"]
    text = printed(notebook)
    assert "low 38.5 min, typical 78.0, high 235.0" in text
    # 7.0686 m2 x 2.70 m + 20 m3; from 07:00 all of it lies in the first hour, at 17 to 16.5 L/s
    assert "07:00  room 39.1 m3 full after 38.7 min, margin -39.3 min, spilled 38.6 m3" in text
    assert "03:00  room 39.1 m3 full after 135.6 min, margin +57.6 min, spilled 0.0 m3" in text
    assert "07:00  first water after 78.0 min, spilled 38.6 m3" in text
    assert "no spill: fastest 24 of 24 hours, typical 7, slowest 0" in text
    # 43 min until there, 25 + 15 + 25 for the set, 15 + 5
    assert "by hand 128 min, by tool 128" in text
    assert "by hand 24.2 m3 after 63 min, by tool 24.2" in text
    assert "2 on the list: by hand 52.5 m3, by tool 52.5" in text
    assert figures(notebook) == 2


@pytest.mark.slow
def test_breaker_lesson_shows_hand_and_tool_alike(executed: dict[str, Any]) -> None:
    notebook = executed["8-control-and-alarm-on-one-breaker"]
    text = printed(notebook)
    # 39.09 m3 of room; 12.6, 13.5 m3 by 04:00, the rest on a rise from 4 to 6.5 L/s
    assert "full after 164.0 min, so at 04:44" in text
    assert "supply of the controls: 435 min, spilled 217.2 m3" in text
    # 15 min of silence and a chain of 58
    assert "by hand 73 min, by tool 73 min, spilled 0.0 m3" in text
    assert "good: first water by hand 84.0 min, by tool 84.0" in text
    assert "worn: first water by hand 133.5 min, by tool 133.5" in text
    assert "right after 325 min: by hand 115.0 m3, by tool 115.0" in text
    assert figures(notebook) == 2


def test_lead_and_lag_lesson_shows_hand_and_tool_alike(executed: dict[str, Any]) -> None:
    notebook = executed["9-lead-and-lag-by-hand"]
    text = printed(notebook)
    # 20.7 L/s of a weekday evening and 34 of the storm, over 13.85 m2
    assert "at most 54.7 L/s arrive" in text
    assert "no pump: +0.24 m a minute at the peak" in text
    assert "28 min after your order the water stands at 0.00 m" in text
    assert "nobody: 11.1 m3; you: 0.0 m3" in text
    assert "by hand 31.2 min after midnight, by tool 31.2" in text
    assert figures(notebook) == 1


@of_each
def test_lesson_checks_its_own_numbers(lesson: Path) -> None:
    checks = [
        line
        for cell in code_cells(read(lesson))
        for line in cell.source.splitlines()
        if line.lstrip().startswith("assert ")
    ]
    assert len(checks) >= 8


@of_each
def test_lesson_is_stored_without_outputs_or_traces_of_a_machine(lesson: Path) -> None:
    notebook = read(lesson)
    nbformat.validate(notebook)
    assert (notebook.nbformat, notebook.nbformat_minor) == (4, 5)
    assert set(notebook.metadata) == {"kernelspec"}
    for cell in code_cells(notebook):
        assert cell.outputs == []
        assert cell.execution_count is None
    for cell in notebook.cells:
        assert re.fullmatch(r"[a-z0-9-]{3,20}", cell.id), cell.id
        assert not re.search(r"(?<!\w)/(home|tmp|root|Users)/|\b[A-Z]:\\", cell.source)


@of_each
def test_lesson_opens_with_its_caution(lesson: Path) -> None:
    first = read(lesson).cells[0].source
    assert "For planning and teaching only" in first
    assert "licensed practice" in first


@of_each
def test_lesson_takes_only_public_names(lesson: Path) -> None:
    import stationsim
    import stationsim.plots

    public = {
        "stationsim": stationsim.__all__,
        "stationsim.plots": stationsim.plots.__all__,
        "stationsim.physics.drawdown": ["Timed", "drawdown"],  # the sum that lesson 6 is about
    }
    source = "\n".join(cell.source for cell in code_cells(read(lesson)))
    taken = re.findall(r"^from (stationsim[\w.]*) import (.+)$", source, flags=re.M)
    assert taken
    for module, names in taken:
        assert set(names.split(", ")) <= set(public[module])
    assert not re.search(r"^\s*import stationsim", source, flags=re.M)


def test_tank_lesson_holds_the_starter_that_new_writes() -> None:
    cells = {cell.id: cell.source for cell in read(ROOT / "notebooks" / "1-the-tank.ipynb").cells}
    shown = re.search(r'TANK = """\\\n(.*?)"""', cells["starter"], flags=re.S)
    assert shown is not None
    assert shown.group(1).rstrip() == starter_text(tank=True).rstrip()
