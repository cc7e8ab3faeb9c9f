"""There is one idea of a phrase: the meter, the picture, the proposed ride and the author's tools have the same."""

from __future__ import annotations

import pytest

from gainlib.exercises.solution import ride_to
from gainlib.flow import Session
from gainlib.meters import find_phrases, measure
from gainlib.sound_file import read
from gainlib.stages import Ride, proposed_ride
from gainlib.storage import bundled_folder
from gainlib.views import DrawnRide

STEMS = sorted(file.stem for file in bundled_folder("media").glob("*.flac"))

# The lines of the song as its score has them: seconds, from the table in media/README.md. The last word follows the
# line before it without a breath.
LINES = [
    (0.24, 2.30), (2.59, 4.58), (5.01, 7.08), (7.33, 9.12),
    (9.33, 11.68), (11.85, 13.93), (14.09, 16.40), (16.55, 18.80),
]  # fmt: skip


def spans(stem):
    take = read(f"media/{stem}.flac")
    return [(phrase.start_seconds, phrase.end_seconds) for phrase in find_phrases(take.samples, take.rate_hz)]


def test_the_phrases_of_the_singer_are_the_lines_of_her_song():
    found = spans("lead-voice")
    assert len(found) == len(LINES)
    for (start, end), (first, last) in zip(found, LINES, strict=True):
        # A note begins and ends softly: what is heard lies within what the score holds.
        assert first <= start <= first + 0.1
        assert last - 0.2 <= end <= last


def test_the_presenter_says_five_sentences_and_the_pad_is_one_phrase():
    assert len(spans("radio-presenter")) == 5
    (whole,) = spans("pad")
    # The chord swells for 0.22 s from silence, and the take goes back into its room at the end.
    assert 0.0 < whole[0] < 0.22
    assert whole[1] == pytest.approx(19.0, abs=0.05)


@pytest.mark.parametrize("stem", STEMS)
def test_all_that_speak_of_phrases_mean_the_same(stem):
    take = read(f"media/{stem}.flac")
    session = Session.of(take, [Ride()], name="strip")
    edges = spans(stem)
    step = 1 / take.rate_hz

    def as_edges(points):
        return [(start, end + step) for (start, _), (end, _) in zip(points[::2], points[1::2], strict=True)]

    assert as_edges(proposed_ride(take, -20.0, most_db=100.0).points) == [pytest.approx(edge) for edge in edges]
    drawn = DrawnRide("ride").columns(session.render())["before"]
    assert list(zip(drawn["left"].tolist(), drawn["right"].tolist(), strict=True)) == edges
    # The author's answer and the proof's search write times to a millisecond.
    authors = as_edges(ride_to(session, "strip/ride/points", -20.0, most_db=100.0))
    assert authors == [pytest.approx(edge, abs=0.0011) for edge in edges]
    levels = [phrase.rms_dbfs for phrase in find_phrases(take.samples, take.rate_hz)]
    assert measure("phrase_range_db", take) == max(levels) - min(levels)


@pytest.mark.parametrize("stem", ["lead-voice", "radio-guest"])
def test_the_picture_says_of_the_ridden_take_what_the_check_measures_there(stem):
    take = read(f"media/{stem}.flac")
    ridden = Session.of(take, [proposed_ride(take, -20.0, most_db=6.0)], name="strip").render()
    apart_db = measure("phrase_range_db", ridden.at("ride"))
    assert f", {apart_db:.1f} dB apart. The ride has" in DrawnRide("ride").sentence(ridden)
