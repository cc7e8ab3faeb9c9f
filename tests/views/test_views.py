"""What each view draws and says, on signals whose levels are known beforehand."""

from __future__ import annotations

import json
import logging
import math
import re

import numpy as np
import pytest
from bokeh.embed import json_item

from gainlib import Audio, Converter, GainError, KWeighting, Preamp, Session, Source, Trim
from gainlib.html.figures import embedded
from gainlib.views import CloseUp, LevelDiagram, Strips, Waveform, view, views

RATE_HZ = 48_000
SECOND = np.arange(RATE_HZ) / RATE_HZ
SINE = np.sin(2 * np.pi * 997 * SECOND)

SIGNALS = {
    "silence": np.zeros(RATE_HZ),
    "DC": np.full(RATE_HZ, 0.5),
    "full-scale square": np.tile(np.repeat([1.0, -1.0], 240), 100),
    "one sample": np.array([0.25]),
    "a short click": np.array([0.0, 1.0, 0.0, -1.0, 0.0]),
    "stereo": np.column_stack((SINE, 0.1 * SINE)),
}


def rendered(samples, gain_db=40.0, trim_db=0.0, alignment="EBU R 68"):
    """A take that fills its file at -30 dBu: with EBU R 68 (0 dBFS is +18 dBu) it stands at -48 dBFS + gain."""
    chain = [Source(-30.0), Preamp(gain_db, max_output_dbu=24.0), Converter(alignment), Trim(trim_db)]
    return Session.of(Audio(samples, RATE_HZ), chain, name="voice").render()


GAINS_DB = (0.0, 40.0, 60.0)


@pytest.mark.parametrize("signal", SIGNALS)
@pytest.mark.parametrize("name", sorted(views()))
def test_every_view_takes_every_signal(name, signal, caplog):
    """Drawn at one gain, by turns; the same figure then takes the columns of every gain, as on a bench."""
    renderings = [rendered(SIGNALS[signal], gain_db) for gain_db in GAINS_DB]
    shown = view(name)
    drawing = shown.figure(renderings[list(SIGNALS).index(signal) % len(GAINS_DB)])
    ours = embedded(drawing)
    with caplog.at_level(logging.WARNING):
        assert json.dumps(ours) == json.dumps(json_item(drawing))
    assert [record.message for record in caplog.records] == []
    # One glyph a stroke: none for what is not selected or muted, since nothing is.
    assert all(each.nonselection_glyph == each.muted_glyph == "auto" for each in drawing.renderers)
    names = {model.name for model in drawing.references()}
    for rendering in renderings:
        for source, columns in shown.columns(rendering).items():
            assert source in names
            assert len({len(column) for column in columns.values()}) == 1, source
            for column in columns.values():
                assert isinstance(column, list) or np.isfinite(column).all()
        sentence = shown.sentence(rendering)
        assert sentence.endswith(".")
        assert "nan" not in sentence
        assert not re.search(r"(^|[^a-z])-|-\d", sentence)  # a real minus sign everywhere


def test_a_figure_says_what_its_axes_are_and_gives_values_on_hover():
    rendering = rendered(SINE)
    diagram = LevelDiagram().figure(rendering)
    assert diagram.yaxis[0].axis_label == "level, dBu"
    assert [name for name, _ in diagram.hover[0].tooltips] == [
        "stage",
        "peak",
        "RMS",
        "noise floor",
        "ceiling",
        "left",
    ]
    wave = Waveform().figure(rendering)
    assert (wave.xaxis[0].axis_label, wave.yaxis[0].axis_label) == ("seconds", "dBFS")
    assert wave.tags == ["time along"]


def test_the_level_diagram_says_the_levels_of_a_sine():
    # Derived: -30 dBu - 18 dBu = -48 dBFS, and +40 dB is -8 dBFS; the AES17 RMS of a sine equals its peak.
    # The preamp ends at +24 dBu, which is +6 dBFS: 14 dB over the sine.
    said = LevelDiagram().sentence(rendered(SINE, 40.0))
    assert said.startswith("Source: peak −30.0 dBu, RMS −30.0 dBu; Preamp: ")  # a tone without a pause tells no floor
    assert "Preamp: peak +10.0 dBu, RMS +10.0 dBu" in said
    assert "14 dB left; Converter: peak −8.0 dBFS" in said
    assert ", 8 dB left; Trim: peak −8.0 dBFS" in said


def test_the_band_stands_at_the_levels_and_numbers_say_them():
    columns = LevelDiagram().columns(rendered(SINE, 40.0, trim_db=-6.0))
    assert columns["band"]["peak"].round(1).tolist() == [-48.0, -48.0, -8.0, -8.0, -8.0, -8.0, -14.0, -14.0]
    assert columns["numbers"]["text"] == ["peak −30", "+10", "−8 dBFS", "−14"]
    assert columns["ceilings"]["bottom"].round(2).tolist() == [6.0, 0.0]
    assert columns["room"]["text"] == ["14 dB left", "8 dB left"]
    assert columns["trouble"]["text"] == []
    assert columns["stages"]["text"] == ["Source", "Preamp", "Converter", "Trim"]


def test_another_alignment_moves_the_ceiling_and_the_digital_scale_and_no_voltage():
    """+40 dB on -30 dBu are +10 dBu; full scale at +15, +18, +22, +24 dBu is 5, 8, 12, 14 dB above (arithmetic)."""
    for aligned, room in (("+15 dBu", 5), ("EBU R 68", 8), ("+22 dBu", 12), ("SMPTE RP 155", 14)):
        rendering = rendered(SINE, alignment=aligned)
        columns = LevelDiagram().columns(rendering)
        # The places of the analogue half stand still: source and preamp as with full scale at +18 dBu.
        assert columns["band"]["peak"][:4].round(1).tolist() == [-48.0, -48.0, -8.0, -8.0]
        assert columns["numbers"]["text"] == ["peak −30", "+10", f"−{room} dBFS", f"−{room}"]
        assert columns["full_scale"]["y"] == pytest.approx([room - 8])
        assert columns["ceilings"]["bottom"].round(2).tolist() == [6.0, room - 8]
        # On the scale at the right 0 dBFS stands where the ceiling is drawn, -20 dBFS 20 dB lower.
        (start,), (end,) = (columns["dBFS"][each] for each in ("start", "end"))
        drawing = LevelDiagram().figure(rendering)
        place = drawing.y_range.start + (0.0 - start) / (end - start) * (drawing.y_range.end - drawing.y_range.start)
        assert place == pytest.approx(room - 8)
        assert columns["dividers"]["x"].tolist() == [1.5]  # the seam, in front of the converter
        assert columns["full_scale_words"]["text"] == [f"full scale +{10 + room} dBu"]
        assert LevelDiagram().sentence(rendering).startswith("Source: peak −30.0 dBu, RMS −30.0 dBu; Preamp: ")


def test_a_clipping_stage_is_told_by_shape_and_word():
    # Derived: +50 dB puts the sine 2 dB over; each of its 2 x 997 half waves is cut for about ten samples.
    columns = LevelDiagram().columns(rendered(SINE, 50.0))
    assert columns["trouble"]["text"] == ["▼ clips 1994 times"]
    assert columns["trouble"]["x"].tolist() == [2.0]
    assert columns["trouble"]["edge"][0] > 0.0
    assert columns["room"]["text"] == ["4 dB left"]


def test_seven_columns_leave_no_room_for_the_whole_word_in_bold():
    # Seen in a browser: 17 bold letters of 12 px were 113 px wide, a column of seven at a notebook's width 108 px.
    trims = [Trim(name=f"trim {each}") for each in range(4)]
    chain = [Source(-30.0), Preamp(50.0, max_output_dbu=24.0), Converter("EBU R 68"), *trims]
    tenth = Audio(SINE[: RATE_HZ // 10], RATE_HZ)
    columns = LevelDiagram().columns(Session.of(tenth, chain, name="voice").render())
    assert re.fullmatch(r"▼ \d{3} clips", columns["trouble"]["text"][0])


def test_silence_reads_minus_infinity_and_lies_on_the_ground():
    columns = LevelDiagram().columns(rendered(np.zeros(RATE_HZ), 0.0))
    assert columns["band"]["peak"][0] == -100.0
    assert columns["numbers"]["text"][0] == "peak −∞"
    assert "Source: peak −∞ dBu, RMS −∞ dBu; Preamp: " in LevelDiagram().sentence(rendered(np.zeros(RATE_HZ)))


def test_the_floor_of_a_take_without_pauses_is_told_as_that_of_the_equipment():
    # A sine without a pause, one with pauses, and one whose noise is said: only of the first nobody knows the noise.
    paused, said = np.concatenate([SINE, SINE, SINE * 0.001, SINE * 0.001]), Source(-44, noise_dbfs=-math.inf)
    for take, source, alone in (
        (np.concatenate([SINE] * 4), Source(-44), True), (paused, Source(-44), False),
        (np.concatenate([SINE] * 4), said, False),
    ):  # fmt: skip
        chain = [source, Preamp(62), Converter("EBU R 68")]
        rendering = Session.of(Audio(take, RATE_HZ), chain, name="voice").render()
        sentence = LevelDiagram().sentence(rendering)
        assert sentence.endswith("The take never pauses, so its own noise cannot be judged.") is alone
        assert ("equipment’s noise −" in sentence, "noise floor −" in sentence) == (alone, not alone)
        words = LevelDiagram().columns(rendering)["words"]["text"]
        assert ("equipment’s noise" in words, "noise floor" in words) == (alone, not alone)


def test_the_noise_of_a_takes_pauses_is_told_and_none_is_made_up_for_a_take_without():
    # Derived: a sine of -60 dBFS in the pauses is a floor of -60 dBFS (AES17 reads a sine at its peak).
    tone = np.concatenate([SINE, SINE, SINE * 0.001, SINE * 0.001])
    for take, floor in ((tone, "−60.0 dBFS"), (np.concatenate([SINE] * 4), "none to read")):
        rendering = Session.of(Audio(take, RATE_HZ), [Trim()], name="voice").render()
        assert ("noise floor" in LevelDiagram().sentence(rendering)) == (floor != "none to read")
        columns = LevelDiagram().columns(rendering)
        assert columns["stages"]["noise"] == [floor]
        assert len(columns["floor"]["noise"]) == (0 if floor == "none to read" else 2)
        assert Strips().columns(rendering)["stages"]["noise_said"] == [floor]


@pytest.mark.parametrize("alignment", ["EBU R 68", "SMPTE RP 155", 4.0])
def test_no_move_makes_the_axis_jump_and_every_ceiling_is_in_sight(alignment):
    ranges = {
        (drawing.y_range.start, drawing.y_range.end)
        for gain_db in (0.0, 30.0, 60.0)
        for trim_db in (-24.0, 24.0)
        for drawing in [LevelDiagram().figure(rendered(SINE, gain_db, trim_db, alignment))]
    }
    assert len(ranges) == 1
    ((bottom, top),) = ranges
    columns = LevelDiagram().columns(rendered(SINE, 60.0, 24.0, alignment))
    assert columns["ceilings"]["bottom"].max() < top
    for line in ("peak", "rms", "noise"):
        assert bottom < columns["band"][line].min()
        assert columns["band"][line].max() <= top


@pytest.mark.parametrize("trim_db", [-24.0, -3.0, 0.0, 7.5, 24.0])
@pytest.mark.parametrize("signal", ["stereo", "full-scale square", "DC"])
def test_numbers_and_names_touch_no_line_and_not_each_other(signal, trim_db):
    view = LevelDiagram()
    drawing_range = view.figure(rendered(SIGNALS[signal])).y_range
    for gain_db in range(61):
        rendering = rendered(SIGNALS[signal], float(gain_db), trim_db)
        columns = view.columns(rendering)
        per_px = (drawing_range.end - drawing_range.start) / (view.height - 12)
        texts = {index: [] for index in range(4)}
        for source in ("numbers", "words"):
            for x, y in zip(columns[source]["x"], columns[source]["y"], strict=True):
                texts[int(x)].append(y)
        for index, heights in texts.items():
            lines = [columns["band"][line][2 * index] for line in ("peak", "rms", "noise")]
            lines += [
                low
                for left, low in zip(columns["ceilings"]["left"], columns["ceilings"]["bottom"], strict=True)
                if left < index < left + 1
            ]
            for y in heights:
                # 13 px letters are about 10 px high: 5 px to either side of their middle
                assert min(abs(y - line) for line in lines) > 5 * per_px, (gain_db, index, y, lines)
                assert all(other == y or abs(other - y) > 12 * per_px for other in heights), (gain_db, index, heights)


def test_the_waveform_keeps_its_flat_tops_when_the_trim_pulls_it_down():
    wave = Waveform()
    loud, low = (wave.columns(rendered(SINE, 50.0, trim_db)) for trim_db in (0.0, -12.0))
    assert low["told"]["text"] == loud["told"]["text"] == ["▼ 1994 clipped runs"]
    assert low["clipped"]["seconds"].tolist() == loud["clipped"]["seconds"].tolist()
    # 0 dBFS lowered by 12 dB is 10^(-12/20) = 0.2512 of full scale
    assert np.abs(low["flat"]["level"]) == pytest.approx([0.2512, 0.2512], abs=5e-4)
    assert wave.sentence(rendered(SINE, 50.0, -12.0)) == (
        "The peaks after the trim reach −12.0 dBFS; "
        "the converter's 1994 clipped runs stay flat tops, now at −12.0 dBFS."
    )
    assert "it clips 1994 times, the longest for" in Waveform("converter").sentence(rendered(SINE, 50.0))
    assert (
        wave.sentence(rendered(SINE, 40.0)) == "The peaks after the trim reach −8.0 dBFS; the converter clips nothing."
    )


def test_the_waveform_draws_the_extremes_of_all_channels_over_the_whole_time():
    columns = Waveform("converter").columns(rendered(SIGNALS["stereo"], 48.0))["wave"]
    assert len(columns["seconds"]) == 1000
    assert columns["high"].max() == pytest.approx(1.0, abs=1e-3)
    assert columns["low"].min() == pytest.approx(-1.0, abs=1e-3)
    assert 0.0 <= columns["seconds"][0] < columns["seconds"][-1] <= 1.0


def test_the_close_up_shows_the_cut_top_and_what_would_have_come():
    # -48 + 50.5 - 12 dB: what came is held at -12 dBFS, without the converter it would stand at -9.5 dBFS.
    view = CloseUp()
    moment = view.columns(rendered(SINE, 50.5, -12.0))["moment"]
    assert np.abs(moment["came"]).max() == pytest.approx(10 ** (-12 / 20), abs=1e-6)
    assert np.abs(moment["given"]).max() == pytest.approx(10 ** (-9.5 / 20), abs=1e-6)
    assert moment["ms"][0] == -4.0
    # Derived: a sine is beyond 10^(-2.5/20) of its peak for 2 acos(0.7499) / 2 pi of a period of 48.14 samples, which
    # is 11.06 samples long: 12 fit in where the first stands at its very beginning.
    assert view.sentence(rendered(SINE, 50.5, -12.0)) == (
        "The loudest moment is cut off: it reaches −12.0 dBFS and stays there for up to 12 samples; "
        "without a ceiling it would reach −9.5 dBFS."
    )
    assert view.sentence(rendered(SINE, 40.0)) == ("No stage here cuts the loudest moment off: it reaches −8.0 dBFS.")


def test_what_would_have_come_is_never_drawn_as_cut_off():
    # -48 + 60 dB: +12 dBFS without the converter's ceiling, 3.98 times full scale.
    rendering = rendered(SINE, 60.0)
    assert np.abs(CloseUp().columns(rendering)["moment"]["given"]).max() == pytest.approx(10 ** (12 / 20), rel=1e-3)
    assert CloseUp().sentence(rendering).endswith("it would reach +12.0 dBFS, higher than the picture.")
    assert CloseUp().sentence(rendered(SINE, 55.0)).endswith("it would reach +7.0 dBFS.")


def test_the_close_up_calls_no_take_whole_that_came_clipped():
    came = Session.of(Audio(0.5 * np.clip(2 * SINE, -1, 1), RATE_HZ), [Trim()], name="old take")
    assert "whole" not in CloseUp().sentence(came.render())


def test_the_close_up_stays_at_one_place_whatever_is_moved():
    places = [CloseUp().columns(rendered(SIGNALS["stereo"], gain))["moment"]["ms"].tolist() for gain in (0.0, 60.0)]
    assert places[0] == places[1]


def test_a_recording_that_was_clipped_before_is_told():
    session = Session.of(Audio(0.5 * np.clip(2 * SINE, -1, 1), RATE_HZ), [Trim()], name="old take")
    assert Waveform().sentence(session.render()) == (
        "The peaks after the trim reach −6.0 dBFS; the recording itself has 1994 flat tops."
    )


def test_named_parts_of_a_take_are_told_with_their_peaks():
    # The second half at half the amplitude: 6.02 dB lower; -48 dBFS plus 40 dB of gain.
    take = np.concatenate((SINE, 0.5 * SINE))
    wave = Waveform(parts={"loud": (0, 1), "soft": (1.0, 2.0), "later": (5, 6)})
    rendering = rendered(take, 40.0)
    assert wave.columns(rendering)["parts"]["text"] == ["loud −8.0", "soft −14.0"]
    assert wave.columns(rendering)["parts"]["named"].tolist() == [0.5, 1.5]
    assert wave.columns(rendering)["parts"]["align"] == ["center", "center"]
    # At an end of the picture a name would be cut, so it begins or ends there.
    short = Waveform(parts={"first": (0, 0.2), "last": (1.8, 2.0)}).columns(rendering)["parts"]
    assert short["named"].tolist() == [0.0, 2.0]
    assert short["align"] == ["left", "right"]
    assert "(loud −8.0 dBFS, soft −14.0 dBFS)" in wave.sentence(rendering)


def test_views_are_found_by_plain_name_or_given_with_options():
    assert isinstance(view("level diagram"), LevelDiagram)
    chosen = Waveform("converter", height=200)
    assert view(chosen) is chosen
    with pytest.raises(GainError, match="'level diagramm' is not a view; did you mean level diagram\\?"):
        view("level diagramm")
    with pytest.raises(GainError, match="3 is not a view; give a name"):
        view(3)
    with pytest.raises(GainError, match="has no stage 'convertor'; did you mean converter\\?"):
        Waveform("convertor").columns(rendered(SINE))


def test_every_colour_can_be_told_from_its_background():
    from gainlib.palette import PALETTE

    def luminance(hexes):  # published: WCAG 2.2, relative luminance
        parts = [int(hexes[place : place + 2], 16) / 255 for place in (1, 3, 5)]
        linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    def contrast(one, other):
        dark, light = sorted((luminance(one), luminance(other)))
        return (light + 0.05) / (dark + 0.05)

    for theme, background in enumerate(PALETTE["background"]):
        for colour in (
            "peak",
            "noise",
            "trouble",
            "text",
            "muted",
            "rms-text",
        ):  # these write words: 4.5:1, WCAG 2.2, 1.4.3
            assert contrast(PALETTE[colour][theme], background) >= 4.5, (colour, theme)
        for colour in ("ceiling", "rms", "third"):  # these draw lines: 3:1, WCAG 2.2, 1.4.11
            assert contrast(PALETTE[colour][theme], background) >= 3.0, (colour, theme)
    assert math.isclose(contrast("#000000", "#FFFFFF"), 21.0)


def test_the_blocks_of_calls_with_silence_between_are_sorted_by_both_gates():
    # Derived: 1 s of tone, 5 s of silence, ten times, peaks at -20 dBFS on both sides: integrated -21.10, the loudest
    # 3 s -24.76, the relative gate at -31.43 LUFS, 127 blocks kept (BS.1770-5 worked out directly).
    tone_ = 0.1 * np.sin(2 * np.pi * 1000 / 48_000 * np.arange(48_000))
    call = np.concatenate((tone_, np.zeros(5 * 48_000)))
    calls = Audio(np.stack([np.tile(call, 10)] * 2, axis=1), 48_000)
    rendering = Session.of(calls, [Trim()], name="calls").render()
    view_ = view("loudness gates")
    said = view_.sentence(rendering)
    assert said.startswith("After the trim 127 of 597 blocks count: ")
    assert (
        "below the relative gate of −31.4 LUFS. Integrated −21.1 LUFS, 3.7 LU above the loudest 3 s (−24.8 LUFS)"
        in said
    )
    columns = view_.columns(rendering)
    assert len(columns["kept"]["seconds"]) == 127
    assert sum(len(columns[each]["seconds"]) for each in ("kept", "left out", "silent")) == 597
    silence = Session.of(Audio(np.zeros(48_000), 48_000), [Trim()], name="calls").render()
    assert "so nothing counts" in view("loudness gates").sentence(silence)
    assert "too short" in view("loudness gates").sentence(
        Session.of(Audio(np.ones(480), 48_000), [Trim()], name="calls").render()
    )


def test_the_weighting_is_the_one_of_the_recommendation():
    # Published: BS.1770-5, tables 1 and 2, as dB at these frequencies, worked out without the library.
    printed = {20: -13.275, 100: -1.133, 997: 0.691, 2000: 3.071, 10_000: 4.042}
    tone_ = Audio(0.1 * np.sin(2 * np.pi * 997 / 48_000 * np.arange(96_000)), 48_000)
    rendering = Session.of(tone_, [KWeighting()], name="tone").render()
    drawn = view("loudness weighting").columns(rendering)["filter"]
    for hertz, db in printed.items():
        assert np.interp(np.log(hertz), np.log(drawn["hz"]), drawn["db"]) == pytest.approx(db, abs=0.03)
    assert view("loudness weighting").sentence(rendering) == (
        "The strongest octave lies around 1 kHz, where the filter counts +0.7 dB; the whole reads −23.0 LUFS, "
        "without filter and gates −23.0 LUFS."
    )
    # The stage raises this tone by as much.
    settled = rendering.at("weighting").samples[48_000:]
    assert 20 * np.log10(np.abs(settled).max()) + 20 == pytest.approx(0.691, abs=0.01)
