"""README says what is so: its commands run, its Python runs, what it quotes is what is said."""

from __future__ import annotations

import re
import shlex
import shutil
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner

from stationsim import load_scenario, simulate
from stationsim.cli import main

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.fixture
def clone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a place that looks like a clone, and stand in it."""
    shutil.copytree(ROOT / "scenarios", tmp_path / "scenarios")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def blocks(language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", README, flags=re.DOTALL)


def test_every_stationsim_command_of_readme_runs(clone: Path) -> None:
    lines = [
        line[line.index("stationsim ") :]
        for block in blocks("bash")
        for line in block.splitlines()
        if re.search(r"(^|/)stationsim ", line)
    ]
    assert len(lines) >= 6
    for line in lines:
        words = shlex.split(line, comments=True)[1:]
        told = re.search(r"# ends with exit code (\d)", line)
        expected = int(told.group(1)) if told else 0
        extra = (
            ["--no-plots"]
            if words[0] in ("run", "rehearse", "compare", "check", "acceptance", "drill")
            else []
        )
        outcome = CliRunner().invoke(main, [*words, *extra], input="wait\ndone\n")
        assert outcome.exit_code == expected, f"{line}: {outcome.output}"
    assert (clone / "results" / "alder-lane" / "levels.csv").is_file()


def test_every_python_block_of_readme_runs(clone: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for block in blocks("python"):
        exec(compile(block, "README.md", "exec"), {})  # noqa: S102
    assert "minutes" in capsys.readouterr().out


def test_the_scenario_of_readme_runs(clone: Path) -> None:
    (block,) = blocks("toml")
    tomllib.loads(block)
    path = clone / "short.toml"
    path.write_text(block, encoding="utf-8")
    result = simulate(*load_scenario(path))
    assert len(result.pump_runs) > 100


def test_the_sentences_of_readme_are_those_of_the_run(clone: Path) -> None:
    quoted = re.findall(r"<!-- says: (\S+) -->\n```text\n(.*?)```", README, flags=re.DOTALL)
    assert quoted
    for path, text in quoted:
        said = simulate(*load_scenario(path)).sentences()
        assert text.split() == " ".join(said).split()


def test_the_first_sentences_of_readme_are_those_of_the_run(clone: Path) -> None:
    quoted = re.findall(r"<!-- begins: (\S+) -->\n```text\n(.*?)```", README, flags=re.DOTALL)
    assert quoted
    for path, text in quoted:
        said = " ".join(simulate(*load_scenario(path)).sentences()).split()
        told = text.split()
        assert len(told) > 20
        assert said[: len(told)] == told


def test_the_rehearsals_of_readme_say_what_is_quoted(clone: Path) -> None:
    quoted = re.findall(r"<!-- rehearses: (.+?) -->\n```text\n(.*?)```", README, flags=re.DOTALL)
    assert len(quoted) == 3
    for words, text in quoted:
        command = ["rehearse", *shlex.split(words), "--no-plots"]
        outcome = CliRunner().invoke(main, command)
        assert outcome.exit_code == 0
        assert " ".join(text.split()) in " ".join(outcome.output.split())
    folders = {path.name for path in (clone / "results").iterdir()}
    assert folders == {"reference-station-rehearse", "reference-plan-plan"}


def test_the_drill_of_readme_is_answered_as_quoted(clone: Path) -> None:
    ((words, text),) = re.findall(
        r"<!-- drills: (.+?) -->\n```text\n(.*?)```", README, flags=re.DOTALL
    )
    typed = re.findall(r" > (.+)", text)
    assert len(typed) >= 5
    lines = "".join(f"{line}\n" for line in [*typed, "done"])
    command = ["drill", *shlex.split(words), "--no-plots"]
    outcome = CliRunner().invoke(main, command, input=lines)
    assert outcome.exit_code == 0
    assert " ".join(text.split()) in " ".join(outcome.output.split())


def test_the_checks_of_readme_say_what_is_quoted(clone: Path) -> None:
    quoted = re.findall(r"<!-- checks: (.+?) -->\n```text\n(.*?)```", README, flags=re.DOTALL)
    assert quoted
    for words, text in quoted:
        outcome = CliRunner().invoke(main, ["check", *shlex.split(words), "--no-plots"])
        assert outcome.exit_code == 3
        assert " ".join(text.split()) in " ".join(outcome.output.split())
    assert [path.name for path in (clone / "results").iterdir()] == ["osier-wharf-check"]


def test_the_verdict_of_readme_says_what_is_quoted(clone: Path) -> None:
    quoted = re.findall(r"<!-- accepts: (.+?) -->\n```text\n(.*?)```", README, flags=re.DOTALL)
    assert quoted
    for words, text in quoted:
        outcome = CliRunner().invoke(main, ["acceptance", *shlex.split(words), "--no-plots"])
        assert outcome.exit_code == 3
        assert " ".join(text.split()) in " ".join(outcome.output.split())
    made = [path.name for path in (clone / "results").iterdir()]
    assert made == ["osier-wharf-acceptance-judged"]


def test_readme_names_every_shipped_scenario() -> None:
    for path in (ROOT / "scenarios").glob("*.toml"):
        assert f"scenarios/{path.name}" in README


def test_every_shipped_scenario_opens_with_what_it_shows_and_loads_without_warnings() -> None:
    from stationsim.scenario.load import load

    paths = sorted((ROOT / "scenarios").glob("*.toml"))
    assert len(paths) >= 5
    for path in paths:
        assert path.read_text(encoding="utf-8").startswith("# What it shows: ")
        told = [one.text() for one in load(path).warnings]
        if path.stem == "madder-holm":  # a storm that two of three pumps cannot carry: its theme
            assert len(told) == 1
            assert "more than the firm capacity" in told[0]
        else:
            assert told == []
