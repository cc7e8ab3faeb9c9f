"""What is played and said: the song's bars, chords, melody and words, and the radio scene's talk, all invented here."""

from singing import Syllable
from voices import Singer

BEAT_SAMPLES = 28_500
BEATS = 32
BEAT_S = BEAT_SAMPLES / 48_000
CHORUS_BEAT = 16

# one chord a bar: bass note, then guitar/pad notes (MIDI numbers)
CHORDS = (
    (33, (57, 60, 64, 69)),
    (29, (57, 60, 65, 69)),
    (36, (55, 60, 64, 67)),
    (31, (55, 59, 62, 67)),
    (29, (57, 60, 65, 69)),
    (31, (55, 59, 62, 67)),
    (33, (57, 60, 64, 69)),
    (31, (55, 59, 62, 67)),
)

# Her upper formants lie closer together than in speech, which gives a loud voice its ring.
LEAD_SINGER = Singer(
    formant_scale=1.08, vibrato_hz=6.2, upper_formants=((3350.0, 180.0), (4100.0, 240.0), (5200.0, 500.0))
)

# Sung lines: name, second at which the take of it starts, effort (0 soft, 1 shouted), peak and AES17 RMS in dBFS,
# syllables as (beat, beats, note, sounds, how many dB louder they are sung).
# Sounds are written in the two-letter code for American English that speech research uses.
LEAD_LINES = (
    (
        "slow was the water",
        0.24,
        0.38,
        -14.14,
        -22.82,
        (
            (0.75, 0.7, 64, "S L OW", 3.0),
            (1.5, 0.5, 62, "W AX Z", -3.0),
            (2.0, 0.5, 60, "DH AX", -2.3),
            (2.5, 0.5, 62, "W AO", -0.2),
            (3.0, 0.75, 57, "T ER", -3.0),
        ),
    ),
    (
        "low was the light",
        2.59,
        0.26,
        -18.42,
        -26.08,
        (
            (4.5, 0.95, 60, "L OW", 0.7),
            (5.5, 0.5, 60, "W AX Z", 2.0),
            (6.0, 0.5, 62, "DH AX", -1.8),
            (6.5, 1.1, 57, "L AY T", -0.2),
        ),
    ),
    (
        "all of my windows",
        5.01,
        0.4,
        -15.85,
        -22.60,
        (
            (8.5, 0.95, 64, "AO L", -2.8),
            (9.5, 0.5, 62, "AH V", -1.0),
            (10.0, 0.5, 64, "M AY", -2.0),
            (10.5, 0.5, 67, "W IH N", -1.6),
            (11.0, 0.8, 64, "D OW Z", 1.0),
        ),
    ),
    (
        "leaned to the night",
        7.33,
        0.12,
        -24.98,
        -33.13,
        (
            (12.5, 0.95, 62, "L IY N D", -0.1),
            (13.5, 0.5, 62, "T UW", -0.4),
            (14.0, 0.5, 60, "DH AX", -2.1),
            (14.5, 0.75, 59, "N AY T", 3.0),
        ),
    ),
    (
        "carry me over",
        9.33,
        0.62,
        -10.32,
        -16.60,
        (
            (16.0, 0.5, 69, "K AE", -5.0),
            (16.5, 0.5, 69, "R IY", -1.0),
            (17.0, 0.85, 67, "M IY", -1.8),
            (18.0, 0.9, 69, "OW", 1.2),
            (19.0, 0.55, 65, "V ER", 0.2),
        ),
    ),
    (
        "over the bay",
        11.85,
        0.66,
        -8.76,
        -16.13,
        (
            (20.0, 0.9, 67, "OW", 3.0),
            (21.0, 0.5, 67, "V ER", -2.6),
            (21.5, 0.5, 69, "DH AX", -1.5),
            (22.0, 1.35, 71, "B EY", -1.6),
        ),
    ),
    (
        "carry me homeward",
        14.09,
        0.7,
        -8.42,
        -15.20,
        (
            (24.0, 0.5, 69, "K AE", -3.0),
            (24.5, 0.5, 69, "R IY", 2.2),
            (25.0, 0.85, 67, "M IY", -0.3),
            (26.0, 1.0, 72, "HH OW M", -0.6),
            (27.0, 0.5, 69, "W ER D", 1.8),
        ),
    ),
    (
        "night into",
        16.55,
        0.66,
        -9.76,
        -18.82,
        (
            (28.0, 0.7, 67, "N AY T", 3.0),
            (28.75, 0.45, 67, "IH N", -3.0),
            (29.25, 0.45, 69, "T UW", -3.0),
        ),
    ),
    ("day! (the shout)", 17.73, 1.0, -4.10, -9.37, ((30.0, 1.55, 74, "D EY", -0.2),)),
)
# The breath before each line but the shout: peak level on the take, deeper before a loud line.
LEAD_BREATHS_DBFS = (-45.0, -46.0, -44.0, -47.0, -37.0, -38.0, -36.0, -40.0)

# Backing singers: (formant scale, seat from left 0 to right 1, part)
BACKING_SINGERS = ((1.00, 0.12, 0), (0.97, 0.78, 0), (1.05, 0.30, 1), (1.10, 0.90, 1), (1.14, 0.50, 2), (1.18, 0.66, 2))
# Lines: effort, level, syllables with one note for each part.
BACKING_LINES = (
    (0.2, -10.2, ((14.0, 1.7, (55, 59, 62), "UW"),)),
    (0.5, -2.0, ((16.0, 1.8, (53, 57, 60), "AA"), (18.0, 1.5, (53, 57, 60), "OW"))),
    (0.5, -2.0, ((20.0, 1.8, (55, 59, 62), "AA"), (22.0, 1.6, (55, 59, 62), "EY", -0.6))),
    (
        0.55,
        -1.0,
        (
            (24.0, 0.5, (57, 60, 64), "K AE", -2.0),
            (24.5, 0.5, (57, 60, 64), "R IY"),
            (25.0, 0.9, (57, 60, 64), "M IY"),
            (26.0, 1.6, (57, 60, 64), "HH OW M"),
        ),
    ),
    (
        0.6,
        0.0,
        (
            (28.0, 0.7, (55, 59, 62), "N AY T", 3.0),
            (28.75, 0.45, (55, 59, 62), "IH N", -1.5),
            (29.25, 0.5, (55, 59, 62), "T UW", -0.6),
            (30.0, 1.3, (55, 59, 62), "D EY", -1.7),
        ),
    ),
)

# Drums, one bar each: (beat, velocity).
KICK_VERSE = ((0.0, 0.72), (2.0, 0.66), (2.5, 0.45))
KICK_CHORUS = ((0.0, 0.97), (0.75, 0.6), (2.0, 0.93), (2.5, 0.78))
SNARE_VERSE = ((1.0, 0.5), (3.0, 0.55), (3.75, 0.10))
SNARE_CHORUS = ((1.0, 0.95), (1.75, 0.13), (2.25, 0.12), (3.0, 1.0))
SNARE_FILL = ((3.25, 0.35), (3.5, 0.55), (3.75, 0.75))

# Bass, one bar each: (beat, length, steps above the chord's bass note, velocity).
BASS_VERSE = ((0.0, 1.7, 0, 0.65), (2.0, 0.9, 0, 0.6), (3.0, 0.45, 7, 0.5), (3.5, 0.4, 12, 0.5))
BASS_CHORUS = (
    (0.0, 0.46, 0, 0.95),
    (0.5, 0.42, 0, 0.7),
    (1.0, 0.46, 0, 0.8),
    (1.5, 0.42, 12, 0.75),
    (2.0, 0.46, 0, 0.95),
    (2.5, 0.42, 0, 0.7),
    (3.0, 0.46, 7, 0.85),
    (3.5, 0.42, 12, 0.8),
)

PRESENTER = Singer(formant_scale=1.0, jitter=0.008, breathiness=0.8, air_db=-31.0, friction=1.6)
GUEST = Singer(formant_scale=1.16, jitter=0.007, breathiness=1.6, air_db=-25.0, friction=2.4)

# Talk: who, second at which it starts, how long it lasts, rising at the end, peak and AES17 RMS in dBFS, sounds with
# stress digits on vowels, bars between words.
TALK = (
    # Good evening. This is the lighthouse hour.
    ("presenter", 0.35, 0.72, False, -11.1, -22.7, "G UH1 D | IY1 V N IH0 NG"),
    ("presenter", 1.35, 1.45, False, -9.7, -23.5, "DH IH1 S | IH0 Z | DH AX0 | L AY1 T HH AW1 S | AW1 ER0"),
    # Our guest repairs old clocks. Welcome.
    ("presenter", 3.30, 1.85, False, -8.5, -22.8, "AW0 R | G EH1 S T | R IH0 P EH1 R Z | OW1 L D | K L AA1 K S"),
    ("presenter", 5.35, 0.55, False, -10.0, -23.8, "W EH1 L K AX0 M"),
    # Thank you. I am glad to be here.
    (
        "guest",
        6.25,
        2.15,
        False,
        -25.7,
        -36.8,
        "TH AE1 NG K | Y UW1 , AY1 | AE0 M | G L AE1 D | T UW0 | B IY0 | HH IH1 R",
    ),
    # How many clocks are in your house?
    (
        "presenter",
        8.75,
        1.88,
        True,
        -7.8,
        -20.6,
        "HH AW1 | M EH1 N IY0 | K L AA1 K S | AA0 R | IH0 N | Y AO0 R | HH AW1 S",
    ),
    # Forty-one. And none of them agree.
    (
        "guest",
        10.85,
        2.15,
        False,
        -25.6,
        -38.3,
        "F AO1 R DX IY0 | W AH1 N , AE0 N D | N AH1 N | AH0 V | DH EH0 M | AX0 G R IY1",
    ),
    # Then what time is it now?
    ("presenter", 13.65, 1.36, True, -6.6, -18.6, "DH EH1 N | W AH1 T | T AY1 M | IH0 Z | IH0 T | N AW1"),
    # That depends on the room.
    ("guest", 15.50, 1.42, False, -31.4, -40.9, "DH AE1 T | D IH0 P EH1 N D Z | AA0 N | DH AX0 | R UW1 M"),
)
# The breath before each turn: peak level on the take.
TALK_BREATHS_DBFS = {"presenter": -38.3, "guest": -54.9}
SCENE_SECONDS = 17.5


def syllables(line: tuple, part: int | None = None) -> list[Syllable]:
    """A written line's syllables in seconds; `part` picks a note where each part has its own."""
    return [
        Syllable(beat * BEAT_S, (beat + beats) * BEAT_S, notes if part is None else notes[part], sounds, *stress_db)
        for beat, beats, notes, sounds, *stress_db in line
    ]
