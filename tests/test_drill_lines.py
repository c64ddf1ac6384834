"""Ten thousand lines typed into drills: nothing but what is promised comes of any of them."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from typed_lines import fresh, line, loaded

from stationsim.errors import ActionError
from stationsim.studies.drill import Drill, play
from stationsim.studies.drill.kept.action_file import (
    FILE,
    PlayedOn,
    perform,
    read,
    whole_text,
)
from stationsim.studies.drill.kept.keeping import Keeper, partial_of
from stationsim.studies.drill.kept.transcript import Transcript
from stationsim.studies.drill.told import Action

NAMES = ("reference-plan", "woad-quay", "hemp-staithe")


def _type_many(name: str, count: int, seed: int, tmp_path: Path) -> tuple[int, int]:
    """Type lines, in one drill after the other; return how many counted, and how many did not."""
    draw, one = random.Random(seed), loaded(name)  # noqa: S311
    counted = refused = typed = number = 0
    while typed < count:
        number += 1
        drill = fresh(one, on_site=draw.choice([None, True]))
        transcript = Transcript(drill)
        keeper = Keeper(tmp_path / f"{name}-{number}", one.episode)
        played = PlayedOn(one.digest, "", drill.began_on_site)
        keeper.begin(played)
        for _ in range(min(250, count - typed)):
            typed += 1
            before_s, accepted, told = drill.now_s, len(drill.actions), len(drill.told)
            text = line(drill, draw)
            reason = None
            try:
                heard = transcript.type(text)
            except ActionError as error:
                reason = str(error)
            if reason is not None:
                refused += 1
                assert reason.isprintable(), ascii(reason)
                assert len(drill.actions) == accepted
                assert (drill.now_s, len(drill.told)) == (before_s, told)
                if drill.over:
                    break
                continue
            counted += 1
            assert drill.actions[accepted:] == [Action(before_s, " ".join(text.split()))]
            assert drill.now_s >= before_s
            assert all(one.text.isprintable() for one in heard)
            keeper.keep(drill.actions[-1])
        kept = read(keeper.path, torn=True)
        assert kept.played == played
        assert [row.action for row in kept.rows] == drill.actions
        assert keeper.path.read_text("utf-8") == whole_text(played, drill.actions, one.episode)
        again = Transcript(drill.again())
        assert perform(again, kept) == drill.actions
        assert again.text() == transcript.text()
        assert again.drill.told == drill.told
        assert play(drill.again(), drill.actions) == drill.told
    return counted, refused


@pytest.mark.parametrize("name", NAMES)
def test_ten_thousand_random_lines_are_done_or_refused_and_can_be_played_again(
    name: str, tmp_path: Path
) -> None:
    counted, refused = _type_many(name, 3_400, 2027, tmp_path)
    assert counted > 1_500
    assert refused > 500


def _bytes_of(drill: Drill) -> dict[str, str]:
    return {name: table.to_csv() for name, table in drill.finish().tables.items()}


def test_a_file_that_is_cut_off_anywhere_still_goes_on_from_its_whole_lines(
    tmp_path: Path,
) -> None:
    """Goes on to the same end: what is cut off is typed again, at the same moments."""
    draw, one = random.Random(3), loaded("woad-quay")  # noqa: S311
    drill = fresh(one)
    while drill.now_s < 0.6 * one.episode.duration_s and len(drill.actions) < 60:
        text = "wait 2 h" if draw.random() < 0.4 else line(drill, draw)
        try:
            drill.type(text)
        except ActionError:
            continue
    played = PlayedOn(one.digest)
    whole = whole_text(played, drill.actions, one.episode).encode("utf-8")
    top = len(played.text().encode("utf-8"))
    expected = _bytes_of(drill)
    for _ in range(6):
        cut = draw.randrange(top, len(whole) + 1)
        folder = tmp_path / str(cut)
        place = partial_of(folder)
        place.mkdir()
        (place / FILE).write_bytes(whole[:cut])
        kept = read(place / FILE, torn=True)
        assert kept.torn == cut - (whole[:cut].rfind(b"\n") + 1)
        again = Transcript(drill.again())
        keeper = Keeper(folder, one.episode)
        keeper.go_on(kept, perform(again, kept))
        for action in drill.actions[len(keeper.actions) :]:
            assert again.drill.now_s == action.t_s
            again.type(action.line)
            keeper.keep(action)
        assert (place / FILE).read_bytes() == whole
        assert _bytes_of(again.drill) == expected
