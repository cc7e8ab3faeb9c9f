"""Make every bundled stem from nothing: `python media/make_stems.py` writes the FLAC files, `--table` measures them."""

import argparse
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import instruments
import numpy as np
import score
import singing
import soundfile
import speech
import voices
from recording import (
    RATE_HZ,
    add,
    background,
    faded,
    filter_in_a_circle,
    from_db,
    high_pass,
    in_a_room,
    low_pass,
    random_stream,
    room_response,
    set_peak,
    set_peak_and_rms,
    to_word_length,
)
from scipy import signal

MUSIC_SAMPLES = score.BEAT_SAMPLES * score.BEATS
SCENE_SAMPLES = int(score.SCENE_SECONDS * RATE_HZ)
DRUM_ROOM = {"seed": 300, "decay_time_s": 0.35, "reflections": [(11.0, -20.0), (17.3, -23.0), (23.9, -26.0)]}
BOOTH = {"seed": 301, "decay_time_s": 0.14, "reflections": [(3.1, -26.0), (5.7, -29.0)]}
STUDIO = {"seed": 302, "decay_time_s": 0.30, "reflections": [(4.3, -22.0), (9.1, -24.0), (13.7, -27.0)]}


TABLES_BEGIN = "<!-- measured: written by make_stems.py --table -->"
TABLES_END = "<!-- end of measured -->"


def silence() -> np.ndarray:
    """An empty loop as long as the song."""
    return np.zeros(MUSIC_SAMPLES)


def when(beat: float, stream: np.random.RandomState, spread_ms: float = 4.0) -> int:
    """Sample of a beat as a player hits it: a few milliseconds early or late, but never before the take runs."""
    return max(round(beat * score.BEAT_SAMPLES + spread_ms * 1e-3 * RATE_HZ * stream.standard_normal()), RATE_HZ // 200)


def bars(verse: tuple, chorus: tuple) -> list[tuple[int, tuple]]:
    """Each bar's number with the pattern that it has."""
    return [(bar, verse if bar < 4 else chorus) for bar in range(8)]


def play_drums() -> dict[str, np.ndarray]:
    """Kick, snare and hats as their own close microphones would hear them with no neighbour."""
    kick, snare, hats = silence(), silence(), silence()
    stream = random_stream(15)
    for bar, pattern in bars(score.KICK_VERSE, score.KICK_CHORUS):
        for beat, velocity in pattern:
            hit = instruments.kick(velocity * (1 + 0.04 * stream.standard_normal()), stream)
            add(kick, hit, when(4 * bar + beat, stream))
    stream = random_stream(1)
    stream.standard_normal(1_478_456)  # an earlier kick drew these; without them the snare would be another take
    for bar, pattern in bars(score.SNARE_VERSE, score.SNARE_CHORUS):
        fill = score.SNARE_FILL if bar in (3, 7) else ()
        for beat, velocity in (*pattern[: len(pattern) - (bar == 3)], *fill):
            hit = instruments.snare(velocity * (1 + 0.05 * stream.standard_normal()), stream)
            add(snare, hit, when(4 * bar + beat + 0.012, stream))
    stream = random_stream(12)
    for bar in range(8):
        step = 0.5 if bar < 4 else 0.25
        for beat in np.arange(0, 4, step):
            accent = 0.75 if beat % 1 == 0 else 0.55 if beat % 0.5 == 0 else 0.32
            velocity = accent * (0.7 if bar < 4 else 1.0) * (1 + 0.08 * stream.standard_normal())
            opened = bar in (3, 7) and beat == 3.5
            stroke = instruments.hat(velocity, 0.30 if opened else 0.03 + 0.012 * velocity, stream)
            if opened:
                stroke = instruments.let_go(stroke, 0.45 * score.BEAT_S, 0.012)
            add(hats, stroke, when(4 * bar + beat, stream, 3.0))
    return {"kick": kick, "snare": snare, "hats": hats}


def record_drums() -> dict[str, np.ndarray]:
    """The three drum microphones: each hears its own drum, its neighbours and the room."""
    dry = {name: set_peak(sound, 0.0) for name, sound in play_drums().items()}
    room = room_response(**DRUM_ROOM)
    heard = {
        "kick": (
            dry["kick"],
            signal.sosfilt(low_pass(900), dry["snare"]) * from_db(-32) + dry["hats"] * from_db(-52),
        ),
        "snare": (
            dry["snare"],
            signal.sosfilt(low_pass(400), dry["kick"]) * from_db(-30) + dry["hats"] * from_db(-34),
        ),
        "hats": (
            dry["hats"],
            signal.sosfilt(high_pass(700), dry["snare"]) * from_db(-24) + dry["kick"] * from_db(-46),
        ),
    }
    # a neighbour is about half a metre off: 1.5 ms
    return {name: in_a_room(own + np.roll(bleed, 72), room, -9.0) for name, (own, bleed) in heard.items()}


def record_bass() -> np.ndarray:
    """The bass line, from its pickup."""
    stream = random_stream(2)
    line = silence()
    for bar, pattern in bars(score.BASS_VERSE, score.BASS_CHORUS):
        root = score.CHORDS[bar][0]
        root += 12 if root < 28 else 0
        for beat, beats, above, velocity in pattern:
            velocity *= 1 + 0.06 * stream.standard_normal()
            note = instruments.bass(root + above, beats * score.BEAT_S, velocity, stream)
            add(line, note, when(4 * bar + beat, stream, 5.0) - instruments.TOUCH_SAMPLES)
        # the hand moves on along the winding before the next bar's chord
        slide = instruments.squeak(0.07 + 0.04 * stream.uniform(), *stream.uniform(500, 1300, 2), stream)
        slide = signal.sosfilt(low_pass(3800), slide * stream.uniform(0.004, 0.012))
        add(line, slide, when(4 * bar + 3.86, stream, 8.0))
    return line


def record_guitar() -> np.ndarray:
    """The guitar with two microphones: picked in the verse, strummed in the chorus."""
    stream = random_stream(3)
    strings = silence()
    for bar, (root, notes) in enumerate(score.CHORDS):
        if bar < 4:
            order = (root + 12, notes[1], notes[2], notes[3], notes[2], notes[1], notes[3], notes[2])
            for step, note in enumerate(order):
                velocity = (0.62 if step in (0, 4) else 0.45) * (1 + 0.08 * stream.standard_normal())
                held_s = (3.6 if step == 0 else 1.4) * score.BEAT_S
                sound = instruments.guitar(note, held_s, velocity, stream)
                add(strings, sound, when(4 * bar + step / 2, stream, 6.0) - instruments.TOUCH_SAMPLES)
            # two fingers slide to the next chord
            for beat in (3.83, 3.9):
                slide = instruments.squeak(0.08 + 0.05 * stream.uniform(), *stream.uniform(1300, 3400, 2), stream)
                add(strings, slide * stream.uniform(0.006, 0.025), when(4 * bar + beat, stream, 10.0))
            continue
        chord = (root + 12, root + 19, *notes)
        strokes = (
            (0, 1, 0.95),
            (1, 1, 0.8),
            (1.5, -1, 0.55),
            (2, 1, 0.85),
            (2.5, -1, 0.6),
            (3, 1, 0.8),
            (3.5, -1, 0.65),
        )
        for number, (beat, way, strength) in enumerate(strokes):
            held_s = ((strokes[number + 1][0] if number + 1 < len(strokes) else 4) - beat) * score.BEAT_S
            start = when(4 * bar + beat, stream, 5.0)
            for place, note in enumerate(chord[::way] if way == 1 else chord[:1:-1]):
                velocity = strength * (1 - 0.05 * place) * (1 + 0.08 * stream.standard_normal())
                lag = int(RATE_HZ * place * (0.011 - 0.004 * strength) * (1 + 0.2 * stream.standard_normal()))
                sound = instruments.guitar(note, held_s, velocity, stream)
                add(strings, sound, start + lag - instruments.TOUCH_SAMPLES)
    near, far = (in_a_room(0.7 * strings, instruments.guitar_body(side), 0.0) for side in (0, 1))
    # the far microphone stands 9 cm further off: 0.25 ms
    far = 0.85 * np.roll(far, 12)
    left, right = room_response(**(STUDIO | {"seed": 310})), room_response(**(STUDIO | {"seed": 311}))
    return np.stack([in_a_room(near, left, -4.0), in_a_room(far, right, -3.0)], 1)


def record_pad() -> np.ndarray:
    """The keyboard pad, from its two outputs."""
    stream = random_stream(4)
    sides = np.zeros((MUSIC_SAMPLES, 2))
    for bar, (root, notes) in enumerate(score.CHORDS):
        chorus = bar >= 4
        chord = instruments.pad((root + 24, *notes[1:]), 3.9 * score.BEAT_S, 1500.0 if chorus else 750.0, stream)
        add(sides, chord * (1.0 if chorus else from_db(-3.0)), when(4 * bar, stream, 5.0))
    # the instrument's output stage rounds off the moments in which all oscillators agree
    return np.tanh(0.28 * sides / np.std(sides))


def lead_lines() -> list[tuple[str, int, np.ndarray]]:
    """The sung lines, each with its first sample, at the level at which it stands on the take."""
    lines = []
    for number, (name, start_s, effort, peak_dbfs, rms_dbfs, written) in enumerate(score.LEAD_LINES):
        sung = singing.sing(score.syllables(written), effort, score.LEAD_SINGER, start_s, 500 + 40 * number)
        lines.append((name, round(start_s * RATE_HZ), set_peak_and_rms(sung, peak_dbfs, rms_dbfs)))
    return lines


def record_lead() -> np.ndarray:
    """The lead voice in a small booth: nine lines, breaths between them."""
    take = silence()
    booth = room_response(**BOOTH)
    silent_from = 0
    for number, (_, start, line) in enumerate(lead_lines()):
        heard = in_a_room(np.pad(line, (0, RATE_HZ // 5)), booth, -6.0)
        add(take, set_peak(heard, peak_dbfs(line)), start)
        if number < len(score.LEAD_BREATHS_DBFS):
            seconds = min(0.28, (start - silent_from) / RATE_HZ - 0.04)
            breath = voices.breathe_in(seconds, 900 + number) * from_db(score.LEAD_BREATHS_DBFS[number])
            add(take, breath, start - len(breath) - RATE_HZ // 100)
        silent_from = start + len(line)
    return take


def record_backing() -> np.ndarray:
    """Six singers around a pair of microphones, three parts, mostly in the chorus."""
    sides = np.zeros((MUSIC_SAMPLES, 2))
    stream = random_stream(6)
    for number, (scale, seat, part) in enumerate(score.BACKING_SINGERS):
        own_cents = 6.0 * stream.standard_normal()
        singer = voices.Singer(scale, breathiness=1.3, vibrato_hz=5.2 + 0.15 * number, vibrato_cents=20.0)
        for line, (effort, level_db, written) in enumerate(score.BACKING_LINES):
            late_s = 0.018 * stream.standard_normal()
            sung = [
                replace(s, start_s=s.start_s + late_s, end_s=s.end_s + late_s, note=s.note + own_cents / 100)
                for s in score.syllables(written, part)
            ]
            start_s = sung[0].start_s - 0.2
            sound = singing.sing(sung, effort, singer, start_s, 2000 + 1000 * number + 40 * line)
            sound = sound * from_db(level_db + 1.0 * stream.standard_normal())
            for side, gain in enumerate((np.cos(seat * np.pi / 2), np.sin(seat * np.pi / 2))):
                delay = int(20 * (seat if side == 0 else 1 - seat))
                column = silence()
                add(column, gain * sound, int(start_s * RATE_HZ) + delay)
                sides[:, side] += column
    rooms = (room_response(**(STUDIO | {"seed": 320})), room_response(**(STUDIO | {"seed": 321})))
    return np.stack([in_a_room(sides[:, side], rooms[side], 0.0) for side in (0, 1)], 1)


def record_radio() -> dict[str, np.ndarray]:
    """Two speakers at one table, a microphone each; each microphone hears the other speaker from afar."""
    people = {"presenter": (score.PRESENTER, 112.0, 0.9), "guest": (score.GUEST, 192.0, 0.45)}
    dry = {name: np.zeros(SCENE_SAMPLES) for name in people}
    for number, (who, start_s, seconds, rising, peak_dbfs, rms_dbfs, text) in enumerate(score.TALK):
        singer, base_hz, effort = people[who]
        spoken = speech.say(text, seconds, base_hz, rising, effort, singer, 4000 + 50 * number)
        add(dry[who], set_peak_and_rms(spoken, peak_dbfs, rms_dbfs), int(start_s * RATE_HZ))
        breath_s = start_s - 0.3
        if number and score.TALK[number - 1][0] != who:
            breath = voices.breathe_in(0.22, 4900 + number) * from_db(score.TALK_BREATHS_DBFS[who])
            add(dry[who], breath, int(breath_s * RATE_HZ))
    room = room_response(**STUDIO)
    mics = {}
    for own, other, bleed_db, room_db in (("presenter", "guest", -18.4, -8.0), ("guest", "presenter", -28.6, 0.0)):
        bleed = signal.sosfilt(low_pass(5000, 1), np.roll(dry[other], 200)) * from_db(bleed_db)
        mics[f"radio-{own}"] = in_a_room(dry[own] + 0.5 * bleed, room, room_db) + 0.5 * bleed
    return mics


# Levels as they came off the recorder: peak dBFS, noise as AES17 RMS dBFS, hum against the noise in dB, low share of
# the noise, word length in bits (the rest of the 24 is zero), lowest frequency let through in Hz.
LEVELS = {
    "kick": (-8.4, -82.0, -12.0, 0.5, 18, 22.0),
    "snare": (-4.6, -80.0, -14.0, 0.3, 18, 40.0),
    "hats": (-16.9, -80.0, -16.0, 0.3, 18, 90.0),
    "bass": (-10.44, -78.0, -2.0, 0.1, 18, 22.0),
    "guitar": (-12.74, -78.0, -14.0, 0.4, 18, 45.0),
    "pad": (-14.9, -84.0, -10.0, 0.0, 18, 25.0),
    "lead-voice": (-4.1, -68.0, -14.0, 0.35, 18, 45.0),
    "backing-voices": (-11.6, -74.0, -14.0, 0.4, 18, 55.0),
    "radio-presenter": (-5.8, -70.0, -12.0, 0.6, 18, 40.0),
    "radio-guest": (-24.0, -66.0, -10.0, 0.6, 18, 40.0),
}


def sources() -> dict[str, Callable[[], dict[str, np.ndarray]]]:
    """Which function makes which stems."""
    return {
        "drums": record_drums,
        "bass": lambda: {"bass": record_bass()},
        "guitar": lambda: {"guitar": record_guitar()},
        "pad": lambda: {"pad": record_pad()},
        "lead": lambda: {"lead-voice": record_lead()},
        "backing": lambda: {"backing-voices": record_backing()},
        "radio": record_radio,
    }


def finish(name: str, sound: np.ndarray) -> np.ndarray:
    """Set a take's level, add its noise, take off its DC and round it."""
    peak_dbfs, noise_dbfs, hum_db, rumble, bits, lowest_hz = LEVELS[name]
    seed = 7000 + 10 * list(LEVELS).index(name)
    sound = set_peak(signal.sosfilt(high_pass(lowest_hz), sound, axis=0), peak_dbfs)
    columns = faded(sound.reshape(len(sound), -1))
    noise = np.stack(
        [background(len(sound), seed + side, noise_dbfs, hum_db, rumble) for side in range(columns.shape[1])], 1
    )
    return to_word_length(columns + filter_in_a_circle(high_pass(15.0), noise), bits, seed + 5)


def build(folder: Path, only: Sequence[str] = ()) -> None:
    """Write the stems of some sources into a folder; of all where none is named."""
    folder.mkdir(parents=True, exist_ok=True)
    for source in only or sources():
        for name, sound in sources()[source]().items():
            soundfile.write(folder / f"{name}.flac", finish(name, sound), RATE_HZ, subtype="PCM_24", format="FLAC")


def aes17_rms_dbfs(sound: np.ndarray) -> float:
    """RMS with a full-scale sine at 0 dBFS (AES17), of the louder channel."""
    return float(10 * np.log10(2 * np.max(np.mean(sound**2, axis=0))))


def peak_dbfs(sound: np.ndarray) -> float:
    """Largest sample of any channel."""
    return float(20 * np.log10(np.max(np.abs(sound))))


def crest_db(sound: np.ndarray) -> float:
    """Peak over mathematical RMS, of the channel where that is larger."""
    return float(np.max(20 * np.log10(np.max(np.abs(sound), axis=0)) - 10 * np.log10(np.mean(sound**2, axis=0))))


def quietest_dbfs(sound: np.ndarray) -> float:
    """AES17 RMS of the quietest tenth of a second, louder channel: the noise floor, wherever the stem has a pause."""
    block = RATE_HZ // 10
    blocks = sound[: len(sound) // block * block].reshape(-1, block, sound.shape[1])
    return float(10 * np.log10(2 * np.min(np.max(np.mean(blocks**2, axis=1), axis=1))))


def figure(value: float) -> str:
    """One decimal, with a real minus sign."""
    return f"{value:.1f}".replace("-", "\N{MINUS SIGN}")


def tables(folder: Path) -> str:
    """Measure the files and give the README's two tables."""
    rows = [
        "| file | seconds | channels | peak dBFS | RMS dBFS (AES17) | crest dB | quietest 100 ms dBFS (AES17) |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for name in LEVELS:
        sound, _ = soundfile.read(folder / f"{name}.flac", always_2d=True)
        numbers = " | ".join(
            figure(value) for value in (peak_dbfs(sound), aes17_rms_dbfs(sound), crest_db(sound), quietest_dbfs(sound))
        )
        rows.append(f"| {name}.flac | {len(sound) / RATE_HZ:.3f} | {sound.shape[1]} | {numbers} |")
    rows += [
        "",
        "Phrases of lead-voice.flac:",
        "",
        "| phrase | start s | end s | peak dBFS | RMS dBFS (AES17) |",
        "| --- | --- | --- | --- | --- |",
    ]
    take, _ = soundfile.read(folder / "lead-voice.flac", always_2d=True)
    for name, start, line in lead_lines():
        start_s, end_s = round(start / RATE_HZ, 2), round((start + len(line)) / RATE_HZ, 2)
        phrase = take[round(start_s * RATE_HZ) : round(end_s * RATE_HZ)]
        rows.append(
            f"| {name} | {start_s:.2f} | {end_s:.2f} | {figure(peak_dbfs(phrase))} | {figure(aes17_rms_dbfs(phrase))} |"
        )
    return "\n".join(rows)


def write_tables(folder: Path) -> None:
    """Put the measured tables between the README's two marker lines."""
    readme = folder / "README.md"
    above, _, rest = readme.read_text(encoding="utf-8").partition(TABLES_BEGIN)
    _, _, below = rest.partition(TABLES_END)
    readme.write_text(f"{above}{TABLES_BEGIN}\n\n{tables(folder)}\n\n{TABLES_END}{below}", encoding="utf-8")


def main() -> None:
    """Read the command line and do what it says."""
    here = Path(__file__).parent
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "--folder", type=Path, default=here, help="where the FLAC files go; default: beside this script"
    )
    parser.add_argument(
        "--only", nargs="+", choices=sources(), default=(), help="make the stems of these sources alone"
    )
    parser.add_argument(
        "--table", action="store_true", help="make nothing; measure the bundled files and write the README's tables"
    )
    arguments = parser.parse_args()
    if arguments.table:
        write_tables(here)
    else:
        build(arguments.folder, arguments.only)


if __name__ == "__main__":
    main()
