"""``stationsim drill`` as people type it: at a terminal, through a pipe, and gone on with."""

from __future__ import annotations

import json
import os
import random
import select
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from typed_lines import line, loaded

from stationsim.cli import main
from stationsim.cli.drill.lines import LONGEST, split
from stationsim.cli.drill.screen import Paced, Talk, converse
from stationsim.errors import OutputError
from stationsim.studies.drill import Drill
from stationsim.studies.drill.kept.action_file import (
    PlayedOn,
    perform,
    read,
    whole_text,
)
from stationsim.studies.drill.kept.keeping import Keeper, partial_of
from stationsim.studies.drill.kept.transcript import Transcript
from stationsim.studies.drill.said import CAUTIONS
from stationsim.studies.drill.told import Action
from stationsim.study_result import StudyResult

SCENARIOS = Path(__file__).parents[1] / "scenarios"
PLAN = str(SCENARIOS / "reference-plan.toml")
NIGHT = (
    'wait\nsend me for mobile\nwait\nwait\nask plan\nconnect mobile\nnote café, "so"\n'
    "wait 20 min\nwait\ndone\n"
)
KEPT = Path("results/reference-plan-drill.partial/actions.csv")
DONE = Path("results/reference-plan-drill")


@pytest.fixture(autouse=True)
def elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def drill(*words: str, typed: str | bytes = "", file: str = PLAN) -> Result:
    return CliRunner().invoke(main, ["drill", file, *words, "--no-plots"], input=typed)


def files(folder: Path | str) -> dict[str, bytes]:
    """Return what stands in a folder; of the manifest all but what is of the run's own time."""
    found = {}
    for path in sorted(Path(folder).rglob("*")):
        if path.is_file():
            found[path.relative_to(folder).as_posix()] = path.read_bytes()
    facts = json.loads(found["manifest.json"])
    facts.pop("wall_s", None)
    found["manifest.json"] = json.dumps(facts).encode()
    return found


# ---------------------------------------------------------------------- a whole drill


def test_a_drill_through_a_pipe_reads_as_a_transcript_and_is_written(elsewhere: Path) -> None:
    done = drill(typed=NIGHT)
    assert done.exit_code == 0, done.output
    assert done.output.startswith("Before you begin:\n- This is training: it controls nothing.")
    shown = done.output.splitlines()
    at = shown.index("Wed 07:00, away > wait")
    assert shown[at + 1 : at + 4] == [
        "  Wed 07:08  phone: alarm power failed",
        "Wed 07:08, away > send me for mobile",
        "  Wed 07:08  you get ready to go",
    ]
    assert 'on site, connect mobile generator > note café, "so"' in done.output
    assert done.output.count("> wait 20 min") == 1
    assert "The drill is over." in done.output
    assert "licensed practice" in done.output
    assert not KEPT.parent.exists()
    assert {"actions.csv", "transcript.txt", "decisions.csv", "told.csv", "levels.csv",
            "sentences.txt", "scenario.toml", "manifest.json"} <= set(files(DONE))  # fmt: skip
    text = (DONE / "transcript.txt").read_text("utf-8")
    assert all(" ".join(text.split()).count(one) == 1 for one in CAUTIONS)
    assert "Wed 07:08, away > send me for mobile\n" in text


def test_the_action_file_holds_each_line_at_its_exact_time() -> None:
    assert drill(typed=NIGHT).exit_code == 0
    kept = read(DONE / "actions.csv")
    assert [row.action.line for row in kept.rows] == NIGHT.splitlines()
    one = loaded("reference-plan")
    played = Drill(one.station, one.episode)
    for row in kept.rows:
        assert row.action.t_s == played.now_s  # to the last digit
        played.type(row.action.line)
    assert kept.played.digest == one.digest
    rows = (DONE / "actions.csv").read_text("utf-8").splitlines()
    assert rows[-len(kept.rows) - 1] == "time,t_s,line"
    assert rows[-len(kept.rows)] == "2027-03-03T07:00:00.000+00:00,0.0,wait"


def test_a_replay_writes_the_same_bytes(elsewhere: Path) -> None:
    words = ("--away-sees", "readings", "--units", "us", "--seed", "5")
    assert drill(*words, typed=f"ask\n{NIGHT}").exit_code == 0
    again = drill("--replay", str(DONE / "actions.csv"), "--out", "again")
    assert again.exit_code == 0, again.output
    assert files("again") == files(DONE)
    assert ", away > send me for mobile\n" in again.output
    quiet = drill("--replay", "again/actions.csv", "--out", "quiet", "--quiet")
    assert (quiet.exit_code, quiet.output) == (0, "")
    assert files("quiet") == files(DONE)


def test_a_replay_of_lines_without_an_end_adds_done(elsewhere: Path) -> None:
    assert drill(typed=NIGHT.removesuffix("done\n")).exit_code == 1
    assert drill("--replay", str(KEPT), "--out", "again", "--quiet").exit_code == 0
    assert KEPT.exists()  # a replay leaves what is kept alone
    DONE.parent.joinpath("reference-plan-drill.partial").rename("kept")
    assert drill(typed=NIGHT).exit_code == 0
    assert files("again") == files(DONE)


def test_a_drill_that_reaches_the_end_of_the_episode_needs_no_done() -> None:
    done = drill(
        typed="wait until 18:59\nwait\nwait\nwait\nwait\nwait\nwait\nwait\nwait\nwait\n" * 3
    )
    assert done.exit_code == 0, done.output
    assert "The drill is over: the episode ends here." in done.output
    assert drill("--replay", str(DONE / "actions.csv"), "--out", "again").exit_code == 0
    assert files("again") == files(DONE)


def test_help_names_what_this_station_understands() -> None:
    shown = drill(typed="help\n?\nhelp send\nhelp haul\nhelp conect\n").output
    assert shown.count("You can type, by the names of this station:") == 2
    assert "'haul': the file has no such step" in shown
    assert "did you mean 'help connect'?" in shown
    assert not KEPT.exists()  # none of it is an order
    examples = [
        row[2:].split("  ")[0].strip()
        for row in shown.split("by the names of this station:\n")[1].splitlines()
        if row.startswith("  ") and not row.startswith("   ")
    ]
    one = loaded("reference-plan")
    for example in examples:
        Drill(one.station, one.episode).type(example)  # every example can be read
    assert "send me for mobile generator" in examples


@pytest.mark.parametrize("name", ["woad-quay", "madder-holm", "heron-ditch", "reed-corner"])
def test_every_example_of_help_can_be_read_at_other_stations(name: str) -> None:
    from stationsim.cli.drill.help import help_lines

    one = loaded(name)
    played = Drill(one.station, one.episode)
    lines = help_lines(played, "", 100)
    examples = [row[2:].split("  ")[0] for row in lines if row[:2] == "  " and row[2] != " "]
    assert len(examples) > 10
    for example in examples:
        Drill(one.station, one.episode).type(example)
    narrow = help_lines(played, "", 60)
    assert max(map(len, narrow)) <= 60


def test_what_is_no_order_does_not_count() -> None:
    done = drill(typed="\n   \nwat\nhand\nhand P9\nwait soon\nnote\ndone please\n")
    assert done.exit_code == 1
    for told in (
        "- no order is called 'wat'; did you mean 'wait'?",
        "- hand what? there is P1, P2",
        "- 'P9' is not known here; there is P1, P2",
        "- wait how long? ",
        "- note what? such as: note P1 sounds rough",
        "- 'done' stands alone; 'please' is left over",
    ):
        assert told in done.output
    assert "nothing had been typed, so nothing is kept" in done.output
    assert not KEPT.parent.exists()


def test_what_comes_in_can_be_anything() -> None:
    soup = (
        b"\xef\xbb\xbfwait\r\n" + b"note \x1b[2J\x1b]0;x\x07\n" + b"\x00\n" + b"note \xff\xfe\n"
        + b"x" * 3_000_000 + b"\n" + b" " * 3_000_000 + b"\n" + "note \u202eabc\n".encode()
        + b"note ok\nno" + b"te end"
    )  # fmt: skip
    done = drill(typed=soup)
    assert done.exit_code == 1
    assert "\x1b" not in done.output
    assert "\x07" not in done.output
    assert "note ?[2J?]0;x?" in done.output
    assert done.output.count("that line has characters that cannot be shown") == 4
    assert "that line has more than 500 characters" in done.output
    assert len(done.output) < 10_000
    assert [row.action.line for row in read(KEPT).rows] == ["wait", "note ok", "note end"]


def test_lines_are_split_wherever_the_pieces_end(tmp_path: Path) -> None:
    draw = random.Random(11)  # noqa: S311
    texts = [
        "".join(draw.choice("ab é😀\r\t") for _ in range(draw.randrange(40))) for _ in range(200)
    ]
    raw = "\n".join(texts).encode()
    readable, writable = os.pipe()

    def write() -> None:
        place = 0
        while place < len(raw):
            size = draw.randrange(1, 60)
            os.write(writable, raw[place : place + size])
            place += size
        os.close(writable)

    writer = threading.Thread(target=write)
    writer.start()
    with os.fdopen(readable, "rb") as stream:
        assert list(split(stream)) == texts
    writer.join()
    long = tmp_path / "long"
    long.write_bytes(b"a" * 1_000_000 + b"\nb\n")
    with long.open("rb") as stream:
        assert [len(one) for one in split(stream)] == [LONGEST, 1]


# ---------------------------------------------------------------------- interrupted, gone on with


def test_a_pipe_that_ends_loses_nothing_and_the_way_on_is_told() -> None:
    first = drill("--event", "07:01 P1 out of service", typed="wait\nsend me for mobile\n")
    assert first.exit_code == 1
    assert f"no more lines came; 2 lines are kept in {KEPT}" in first.output
    way = f"stationsim drill {PLAN} --event '07:01 P1 out of service' --resume {DONE}"
    assert f"go on with: {way}" in first.output
    refused = drill(typed="wait\n")
    assert refused.exit_code == 2
    assert f"--resume {DONE}, or put it away by --force" in refused.output
    other = drill("--resume", str(DONE), typed="done\n")
    assert other.exit_code == 2
    assert "belongs to another scenario" in other.output
    gone_on = drill("--event", "07:01 P1 out of service", "--resume", str(DONE), typed="done\n")
    assert gone_on.exit_code == 0, gone_on.output
    assert "What was typed and told so far:\nWed 07:00, away > wait\n" in gone_on.output
    assert "It is Wed 07:08; you are getting ready. You go on from here." in gone_on.output
    assert not KEPT.parent.exists()
    assert [row.action.line for row in read(DONE / "actions.csv").rows] == [
        "wait", "send me for mobile", "done",
    ]  # fmt: skip


def test_force_puts_an_unfinished_drill_away_but_no_other_files() -> None:
    assert drill(typed="wait\nwait\n").exit_code == 1
    assert drill("--force", typed="note anew\n").exit_code == 1
    assert [row.action.line for row in read(KEPT).rows] == ["note anew"]
    (KEPT.parent / "mine.txt").write_text("mine")
    refused = drill("--force", typed="wait\n")
    assert refused.exit_code == 2
    assert "holds other files than actions.csv ('mine.txt')" in refused.output
    assert KEPT.exists()


def test_results_that_stand_there_are_refused_before_anything_is_played() -> None:
    assert drill(typed="done\n").exit_code == 0
    before = files(DONE)
    refused = drill(typed="wait\n")
    assert refused.exit_code == 2
    assert "already exists" in refused.output
    assert "Before you begin" not in refused.output
    assert files(DONE) == before
    assert drill("--force", typed="wait\ndone\n").exit_code == 0
    assert files(DONE) != before


def test_interrupted_anywhere_the_end_is_the_same_bytes(elsewhere: Path) -> None:
    """A random drill, cut into pieces at random points, each gone on with by --resume."""
    draw, one = random.Random(4), loaded("woad-quay")  # noqa: S311
    file = str(SCENARIOS / "woad-quay.toml")
    planned, typed = Drill(one.station, one.episode), list[str]()
    while len(typed) < 120 and not planned.over:
        text = line(planned, draw).replace("\n", " ").replace("done", "dine")
        text = text.encode("utf-8", "surrogateescape").decode("utf-8", "replace")
        typed.append(text)
    whole = "\n".join([*typed, "done"]) + "\n"
    assert drill("--out", "whole", typed=whole, file=file).exit_code == 0
    words = ["--out", "cut"]
    lines = [text + "\n" for text in whole.removesuffix("\n").split("\n")]
    while lines:
        count = draw.randrange(1, 60)
        done = drill(*words, typed="".join(lines[:count]), file=file)
        lines = lines[count:]
        assert done.exit_code == (1 if lines else 0), done.output
        if partial_of(Path("cut")).exists():
            words = ["--resume", draw.choice(["cut", "cut.partial"])]
    assert files("cut") == files("whole")


def test_a_last_line_that_was_not_kept_whole_is_left_out_and_told() -> None:
    assert drill(typed="wait\nwait\n").exit_code == 1
    KEPT.write_bytes(KEPT.read_bytes() + b"2027-03-03T07:09:00.000+00:00,513.1,wa")
    done = drill("--resume", str(DONE), typed="done\n")
    assert done.exit_code == 0, done.output
    assert "The last line had not been kept whole, and is left out." in done.output
    assert [row.action.line for row in read(DONE / "actions.csv").rows] == ["wait", "wait", "done"]


def _start(*words: str, **how: object) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "stationsim", "drill", PLAN, "--no-plots", *words]
    return subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                            stderr=subprocess.PIPE, **how)  # type: ignore[call-overload]  # fmt: skip


def _wait_for(path: Path, text: str) -> None:
    until = time.monotonic() + 60.0
    while not (path.exists() and text in path.read_text("utf-8")):
        assert time.monotonic() < until, "it was never kept"
        time.sleep(0.02)


@pytest.mark.parametrize(
    "real_time", [(), pytest.param(("--real-time", "60"), marks=pytest.mark.slow)]
)
def test_ctrl_c_ends_with_1_and_keeps_the_lines(real_time: tuple[str, ...]) -> None:
    going = _start(*real_time)
    assert going.stdin is not None
    going.stdin.write(b"note one\nsend me\n")
    going.stdin.flush()
    _wait_for(KEPT, ",send me\n")
    going.send_signal(signal.SIGINT)
    out, err = going.communicate(timeout=60)
    assert going.returncode == 1, err
    assert b"stopped; 2 lines are kept in" in err
    assert b"--resume results/reference-plan-drill" in err
    assert b"Traceback" not in out + err
    done = drill("--resume", str(DONE), typed="done\n")
    assert done.exit_code == 0, done.output


def test_ctrl_c_while_the_end_is_written_or_told_loses_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def stop(*_args: object, **_how: object) -> None:
        raise KeyboardInterrupt

    for method in ("write_into", "sentences"):  # both while the folder is being made
        with monkeypatch.context() as patched:
            patched.setattr(StudyResult, method, stop)
            done = drill(typed="wait\ndone\n")
        assert done.exit_code == 1, done.output
        assert "2 lines are kept" in done.output
        assert KEPT.exists()
        assert not DONE.exists()
        assert drill("--resume", str(DONE)).exit_code == 0
        assert not KEPT.exists()
        assert drill("--replay", str(DONE / "actions.csv"), "--out", method).exit_code == 0
        assert files(method) == files(DONE)
        DONE.rename(f"{method}-done")
    monkeypatch.setattr(StudyResult, "caution", property(stop))
    done = drill(typed="wait\ndone\n")
    assert (done.exit_code, KEPT.exists()) == (1, False)
    assert f"stopped; the results are written: {DONE}" in done.output
    assert files(DONE)


def test_killed_outright_the_lines_are_there() -> None:
    going = _start()
    assert going.stdin is not None
    going.stdin.write(b"wait\nsend me for mobile\n")
    going.stdin.flush()
    _wait_for(KEPT, "mobile\n")
    going.kill()
    going.communicate(timeout=60)
    assert [row.action.line for row in read(KEPT).rows] == ["wait", "send me for mobile"]
    assert drill("--resume", str(DONE), typed="done\n").exit_code == 0


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_output_that_cannot_be_written_is_told_without_a_traceback() -> None:
    with Path("/dev/full").open("wb") as full:
        command = [sys.executable, "-m", "stationsim", "drill", PLAN, "--no-plots"]
        done = subprocess.run(
            command, input=b"wait\n", stdout=full, stderr=subprocess.PIPE, check=False, timeout=60
        )
    assert done.returncode == 1
    assert b"the output cannot be written" in done.stderr
    assert b"Traceback" not in done.stderr
    assert not KEPT.parent.exists()


def test_a_line_that_cannot_be_kept_is_told_and_those_before_stay(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    kept = Keeper.keep

    def keep(self: Keeper, action: Action) -> None:
        if action.line == "send me":
            monkeypatch.setattr(os, "fsync", _no_room)
        kept(self, action)

    monkeypatch.setattr(Keeper, "keep", keep)
    done = drill(typed="wait\nsend me\nwait\n")
    assert done.exit_code == 2
    assert f"{KEPT}: cannot be written: No space left on device" in done.output.replace("\n", "")
    assert [row.action.line for row in read(KEPT).rows] == ["wait"]


def _no_room(_number: int) -> None:
    raise OSError(28, "No space left on device")


# ---------------------------------------------------------------------- what is refused


def _texts() -> tuple[str, str]:
    one = loaded("reference-plan")
    return PlayedOn(one.digest).text(), one.digest


TOP, DIGEST = _texts()
AT = "2027-03-03T07:00:00.000+00:00"
WRONG_FILES = [
    ("", ":1: is no action file of a drill; accepted: a file that begins with '# drill, form 1'"),
    ("time,t_s,line\n", ":1: is no action file of a drill"),
    ("# drill, form 2\n", ":1: is no action file of a drill"),
    ("# drill, form 1\ntime,t_s,line\n", "does not say of which scenario it is"),
    (f"# drill, form 1\n# scenario: {DIGEST}\n", "has no line with the columns time,t_s,line"),
    ("# drill, form 1\n# scenario: 12\ntime,t_s,line\n", ":2: 'scenario' is '12'; accepted: 64"),
    (TOP.replace(DIGEST, "0" * 64), "belongs to another scenario (its digest begins with 000000"),
    (TOP.replace("alarms", "all"), "'away sees' is 'all'; accepted: alarms or readings"),
    (TOP.replace("# units", "# on site: maybe\n# units"), "'on site' is 'maybe'; accepted: yes"),
    (TOP.replace("# units", "# seed: -1\n# units"), "'seed' is '-1'; accepted: a whole number"),
    (TOP.replace("# units", "# as: Nobody\n# units"), "nobody in the file is called 'Nobody'"),
    (TOP.replace(",t_s,", ",seconds,"), ":6: the columns are time, t_s, line"),
    (f"{TOP}{AT},0.0\n", ":7: has 2 cells; accepted: 3 (time, t_s, line)"),
    (f"{TOP}{AT},0.0,note a, b\n", ":7: has 4 cells; accepted: 3"),
    (f"{TOP}{AT},soon,wait\n", ":7: t_s is 'soon'; accepted: seconds since the start, 0 or more"),
    (f"{TOP}{AT},nan,wait\n", ":7: t_s is 'nan'; accepted"),
    (f"{TOP}{AT},inf,wait\n", ":7: t_s is 'inf'; accepted"),
    (f"{TOP}{AT},-1,wait\n", ":7: t_s is '-1'; accepted"),
    (f"{TOP}{AT},5.0,ask\n{AT},4.0,ask\n", ":8: t_s is 4.0, which lies before that of the row"),
    (f"{TOP}{AT},0.0,wait\n{AT},4.0,ask\n", ":8: t_s is 4.0, but by the rows above the drill"),
    (f"{TOP}{AT},1e9,ask\n", ":7: t_s is 1000000000.0, which lies behind the end of the episode"),
    (f"{TOP}{AT},0.0,dance\n", ":7: no order is called 'dance'"),
    (f"{TOP}{AT},0.0,note \x1b[2J\n", ":7: that line has characters that cannot be shown"),
    (f'{TOP}{AT},0.0,"wait\n', ":7: is no row of a CSV file"),
    (f"{TOP}{AT},0.0,done\n{AT},0.0,wait\n", ":8: the drill is over before this row"),
    (TOP.encode() + b"\xff\n", ":7: is not UTF-8 text"),
    (b"#" * 5_000_001, "is too large for an action file"),
]


@pytest.mark.parametrize("option", ["--replay", "--resume"])
@pytest.mark.parametrize(("text", "told"), WRONG_FILES, ids=[told for _, told in WRONG_FILES])
def test_an_action_file_that_makes_no_sense_is_refused(
    text: str | bytes, told: str, option: str, elsewhere: Path
) -> None:
    KEPT.parent.mkdir(parents=True)
    KEPT.write_bytes(text if isinstance(text, bytes) else text.encode())
    words = [option, str(KEPT if option == "--replay" else DONE)]
    done = drill(*words, typed="done\n")
    assert done.exit_code == 2, done.output
    assert told in done.output
    assert "Traceback" not in done.output
    if "called 'Nobody'" not in told:
        assert str(KEPT) in done.output
    assert list(elsewhere.rglob("*.csv")) == [elsewhere / KEPT]
    assert not DONE.exists()


def test_a_file_with_rows_rounded_by_hand_is_played() -> None:
    Path("by-hand.csv").write_text(
        f"{TOP}\n# a note\n{AT},0,wait\r\n,480,send me for mobile\n,600.5,\n,700,wait\n", "utf-8"
    )
    done = drill("--replay", "by-hand.csv")
    assert done.exit_code == 0, done.output
    rows = [row.action for row in read(DONE / "actions.csv").rows]
    assert [one.line for one in rows] == ["wait", "send me for mobile", "wait", "done"]
    assert rows[1].t_s == pytest.approx(480.0, abs=1e-3)
    assert rows[2].t_s == 700.0


WRONG_OPTIONS = [
    (("--real-time", "0"), "--real-time: '0' is no factor; accepted: a number above 0, such as 60"),
    (("--real-time", "nan"), "--real-time: 'nan' is no factor"),
    (("--real-time", "inf"), "--real-time: 'inf' is no factor"),
    (("--real-time", "60x"), "--real-time: '60x' is no factor"),
    (("--real-time", "-1"), "--real-time: '-1' is no factor"),
    (("--as", "Nobody"), "nobody in the file is called 'Nobody'; there are operator on call"),
    (("--as", ""), "--as: is no name"),
    (("--as", "a\x1b"), "--as: is no name"),
    (("--away-sees", "all"), "'all' is not one of 'alarms', 'readings'"),
    (("--quiet",), "--quiet: nobody could answer then; accepted with --replay"),
    (("--replay", "none.csv"), "none.csv: cannot be read: no such file or directory"),
    (("--replay", "."), ".: is a folder; an action file is needed"),
    (("--resume", "none"), "--resume: no drill is kept in none.partial; nothing to go on with"),
    (("--resume", "none", "--out", "x"), "--out: the drill goes on where it lies"),
    (("--replay", "a", "--resume", "b"), "--resume: goes on with a drill"),
    (("--replay", "a", "--real-time", "2"), "--real-time: a replay asks nobody"),
    (("--exercise", "2", "--event", "09:00 grid loss for 1 h"), "--event: an exercise has events"),
    (("--exercise", "0"), "0 is not in the range x>=1"),
    (("--practice", "501"), "--practice: 501 are too many; accepted: 1 to 500"),
    (("--practice", "2", "--exercise", "1"), "--exercise: belongs to a drill that is played"),
    (("--practice", "2", "--on-site"), "--on-site or --away: belongs to a drill that is played"),
    (("--cards", "--practice", "2"), "--practice: writes other papers"),
    (("--cards", "--page"), "--page: cards and key are pages already"),
    (("--cards", "--resume", "x"), "--resume: belongs to a drill that is played"),
    (("--set", "control.stop=9 m"), "control.stop"),
]


@pytest.mark.parametrize(
    ("words", "told"), WRONG_OPTIONS, ids=[" ".join(words) for words, _ in WRONG_OPTIONS]
)
def test_wrong_options_are_told_and_nothing_is_written(
    words: tuple[str, ...], told: str, elsewhere: Path
) -> None:
    done = drill(*words, typed="done\n")
    assert done.exit_code == 2, done.output
    assert told in done.output
    assert "Traceback" not in done.output
    assert not list(elsewhere.iterdir())


def test_who_asks_for_another_drill_than_was_played_is_told_everything_at_once() -> None:
    assert drill("--away-sees", "readings", "--seed", "3", typed="wait\ndone\n").exit_code == 0
    words = ("--away-sees", "alarms", "--seed", "4", "--on-site", "--as", "x", "--out", "again")
    done = drill("--replay", str(DONE / "actions.csv"), *words)
    assert done.exit_code == 2
    for told in (
        "--away-sees: the lines were played otherwise (readings)",
        "--seed: the lines were played otherwise (3)",
        "--on-site or --away: the lines were played otherwise (where the file has them)",
        "--as: the lines were played otherwise (not given)",
    ):
        assert f"error: {told}; leave it out" in done.output
    same = ("--away-sees", "readings", "--seed", "3")
    assert drill("--replay", str(DONE / "actions.csv"), *same, "--out", "again").exit_code == 0


# ---------------------------------------------------------------------- who, where, exercises


def test_somebody_else_may_play_and_begin_on_site() -> None:
    done = drill("--as", "second operator", "--on-site", typed="ask\ndone\n",
                 file=str(SCENARIOS / "woad-quay.toml"))  # fmt: skip
    assert done.exit_code == 0, done.output
    assert "You are second operator, on site, before the panel." in done.output
    kept = read(Path("results/woad-quay-drill/actions.csv"))
    assert (kept.played.who, kept.played.on_site) == ("second operator", True)


def test_an_exercise_is_played_kept_and_replayed(elsewhere: Path) -> None:
    done = drill("--exercise", "3", "--seed", "42", typed="wait\nwait\nsend me\ndone\n")
    assert done.exit_code == 0, done.output
    assert "This is exercise 3 of seed 42" in done.output
    folder = Path("results/reference-plan-exercise-3")
    kept = read(folder / "actions.csv")
    assert (kept.played.exercise, kept.played.seed) == (3, 42)
    again = drill("--replay", str(folder / "actions.csv"), "--out", "again")
    assert again.exit_code == 0, again.output
    assert files("again") == files(folder)


def test_exercises_are_handed_out_with_the_key_apart(elsewhere: Path) -> None:
    done = drill("--practice", "2", "--seed", "42", "--event", "08:00 P1 fails")
    assert done.exit_code == 0, done.output
    students = Path("results/reference-plan-practice/students")
    command = "stationsim drill reference-plan.toml --event '08:00 P1 fails' --exercise 2 --seed 42"
    assert command in (students / "exercises.csv").read_text("utf-8").replace('""', '"')
    assert (students.parent / "key" / "key.csv").is_file()
    assert "The number and the seed of an exercise" in done.output
    assert (students / "exercise_02.html").is_file()
    assert str(SCENARIOS) not in (students / "exercise_02.html").read_text("utf-8")


def test_cards_are_written_with_the_key_apart(elsewhere: Path) -> None:
    done = drill("--cards", "--away-sees", "readings")
    assert done.exit_code == 0, done.output
    folder = Path("results/reference-plan-cards")
    assert f"Cards to print: {folder / 'cards' / 'cards.html'}" in done.output
    assert "Whoever has the scenario file can have this key made." in done.output
    there = {"cards/cards.html", "cards/cards.csv", "key/key.html", "key/card_key.csv"}
    assert there <= set(files(folder))
    again = drill("--cards")
    assert again.exit_code == 2
    assert "already exists" in again.output


# ---------------------------------------------------------------------- time that passes by itself


class _Wall:
    """A clock on the wall, and lines that come at its times."""

    def __init__(self, *lines: tuple[float, str]) -> None:
        self.now_s = 0.0
        self.echoed = True
        self._lines = list(lines)

    def clock(self) -> float:
        return self.now_s

    def next(self, wait_s: float) -> str | None:
        if not self._lines:
            raise EOFError
        at_s, text = self._lines[0]
        if at_s > self.now_s + wait_s:
            self.now_s += wait_s
            return None
        self.now_s = max(at_s, self.now_s)
        del self._lines[0]
        return text


def _paced(*lines: tuple[float, str], factor: float = 60.0) -> tuple[Talk, _Wall]:
    one = loaded("reference-plan")
    transcript = Transcript(Drill(one.station, one.episode))
    keeper = Keeper(Path("paced"), one.episode)
    keeper.begin(PlayedOn(one.digest))
    wall = _Wall(*lines)
    talk = Talk(transcript, keeper, 80)
    Paced(talk, wall, factor, wall.clock).run()
    return talk, wall


def test_time_passes_while_somebody_thinks(capsys: pytest.CaptureFixture[str]) -> None:
    talk, _ = _paced((4.0, "note a"), (9.5, "send me for mobile"), (9.5, ""), (12.0, "done"))
    shown = capsys.readouterr().out
    lines = [(one.line, one.t_s) for one in talk.drill.actions]
    assert lines == [
        ("note a", pytest.approx(240.0, abs=1e-3)),
        ("send me for mobile", pytest.approx(570.0, abs=1e-3)),
        ("done", pytest.approx(720.0, abs=1e-3)),
    ]
    assert "Wed 07:04, away > \n  Wed 07:08  phone: alarm power failed\nWed 07:08, away > " in shown
    kept = read(Path("paced.partial/actions.csv"))
    again = talk.transcript.again()
    perform(again, kept)
    assert again.text() == talk.transcript.text()
    assert again.drill.told == talk.drill.told


def test_a_wait_passes_by_itself_and_a_skip_at_once(capsys: pytest.CaptureFixture[str]) -> None:
    talk, wall = _paced(
        (1.0, "wait 3 min"), (5.0, "wait soon"), (5.5, "skip 2 min"), (6.0, "skip"), (6.5, "help"),
        (7.0, "done"),
    )  # fmt: skip
    shown = capsys.readouterr().out
    assert "the wait is over" in shown
    assert "- wait how long? " in shown
    assert "skip 20 min, skip until 02:40" in " ".join(shown.split())
    lines = [(one.line, one.t_s) for one in talk.drill.actions]
    assert lines[:2] == [
        ("wait 2 min", pytest.approx(330.0, abs=1e-3)),
        ("wait", pytest.approx(450.0 + 30.0, abs=1.0)),
    ]
    assert wall.now_s == 7.0


def test_in_real_time_the_episode_ends_by_itself_and_is_replayed_so(
    capsys: pytest.CaptureFixture[str],
) -> None:
    talk, _ = _paced((0.5, "note a"), (1e9, "never"), factor=3600.0)
    assert talk.drill.over
    assert "Wed 15:20  phone: alarm high level: over" in capsys.readouterr().out
    assert talk.drill.now_s == talk.drill.episode.duration_s


@pytest.mark.slow
def test_real_time_through_the_command_writes_what_its_replay_writes(elsewhere: Path) -> None:
    words = ("--real-time", "20000")
    going = _start(*words)
    assert going.stdin is not None
    going.stdin.write(b'note a, "b"\nsend me for mobile\n')
    going.stdin.flush()
    out, err = _until_end(going)
    assert going.returncode == 0, err
    assert b"The drill is over: the episode ends here." in out
    assert b"you stand on site" in out
    rows = [row.action for row in read(DONE / "actions.csv").rows]
    assert [one.line for one in rows] == ['note a, "b"', "send me for mobile", ""]
    again = drill("--replay", str(DONE / "actions.csv"), "--out", "again")
    assert again.exit_code == 0, again.output
    assert files("again") == files(DONE)


def _until_end(going: subprocess.Popen[bytes]) -> tuple[bytes, bytes]:
    """Wait for the end without closing the pipe: who types nothing more has not gone away."""
    assert going.stdout is not None
    assert going.stderr is not None
    out, err = going.stdout.read(), going.stderr.read()
    going.wait(timeout=120)
    assert going.stdin is not None
    going.stdin.close()
    going.stdout.close()
    going.stderr.close()
    return out, err


def test_real_time_goes_on_where_it_was_interrupted() -> None:
    done = drill("--real-time", "600", typed="note a\n")
    assert done.exit_code == 1, done.output
    last = read(KEPT).rows[-1].action
    assert last.line in ("", "note a")
    gone_on = drill("--real-time", "600", "--resume", str(DONE), typed="done\n")
    assert gone_on.exit_code == 0, gone_on.output
    rows = [row.action for row in read(DONE / "actions.csv").rows]
    assert [one.line for one in rows] == ["note a", "done"]
    assert rows[1].t_s >= last.t_s
    assert drill("--replay", str(DONE / "actions.csv"), "--out", "again").exit_code == 0
    assert files("again") == files(DONE)


# ---------------------------------------------------------------------- at a terminal


@pytest.mark.skipif(not hasattr(os, "forkpty"), reason="needs a pseudo-terminal")
@pytest.mark.parametrize(
    "real_time", [(), pytest.param(("--real-time", "120"), marks=pytest.mark.slow)]
)
def test_at_a_terminal_nothing_half_typed_is_lost(real_time: tuple[str, ...]) -> None:
    import pty

    leader, follower = pty.openpty()
    environ = {**os.environ, "TERM": "dumb", "COLUMNS": "80", "LINES": "24"}
    command = [sys.executable, "-m", "stationsim", "drill", PLAN, "--no-plots", *real_time]
    going = subprocess.Popen(command, stdin=follower, stdout=follower, stderr=follower, env=environ)
    os.close(follower)
    seen = bytearray()

    def until(text: bytes) -> None:
        limit = time.monotonic() + 60.0
        while text not in seen:
            assert time.monotonic() < limit, seen.decode("utf-8", "replace")
            if select.select([leader], [], [], 1.0)[0]:
                seen.extend(os.read(leader, 65536))

    until(b"away > ")
    os.write(leader, b"note half ")
    if real_time:
        until(b"phone: alarm power failed")
        until(b"failed\r\nWed 07:0")
    os.write(leader, b"typed\n")
    until(b"noted")
    if real_time:
        os.write(leader, b"\x04")
    else:
        time.sleep(0.5)  # the line editor has to be waiting
        going.send_signal(signal.SIGINT)
    until(b"kept in")
    going.wait(timeout=60)
    os.close(leader)
    assert going.returncode == 1
    assert b"Traceback" not in seen
    assert read(KEPT).rows[0].action.line == "note half typed"


def test_what_is_told_is_wrapped_to_the_screen(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "60")
    shown = drill(typed="ask plan\nask station\nhelp\n").output.split("\nno more lines")[0]
    assert max(map(len, shown.splitlines())) <= 59


def test_the_talk_needs_no_keeper_and_tells_that_it_is_over(
    capsys: pytest.CaptureFixture[str],
) -> None:
    class Typed:
        def __init__(self) -> None:
            self.lines = ["wait 5 min", "done", "never asked for"]

        def ask(self, prompt: str) -> str:
            assert prompt.endswith("> ")
            return self.lines.pop(0)

    one = loaded("reference-plan")
    talk, typed = Talk(Transcript(Drill(one.station, one.episode)), None), Typed()
    converse(talk, typed)
    assert typed.lines == ["never asked for"]
    assert [one.line for one in talk.drill.actions] == ["wait 5 min", "done"]
    assert "what has been ordered is still done" in " ".join(capsys.readouterr().out.split())


def test_two_drills_do_not_take_one_place() -> None:
    one = loaded("reference-plan")
    Keeper(Path("x"), one.episode).begin(PlayedOn(one.digest))
    with pytest.raises(OutputError, match="here lies a drill that was not brought to its end"):
        Keeper(Path("x"), one.episode).begin(PlayedOn(one.digest))


def test_rows_that_only_let_time_pass_stay_at_the_end_alone() -> None:
    one = loaded("reference-plan")
    acts = [Action(1.0, ""), Action(2.0, "wait"), Action(3.0, ""), Action(4.0, "")]
    rows = whole_text(PlayedOn(one.digest), acts, one.episode).splitlines()[6:]
    assert [row.partition(",")[2] for row in rows] == ["2.0,wait", "4.0,"]
