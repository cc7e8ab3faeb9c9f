"""The gain sheet: one page, complete in itself, that documents a session's gain structure; prints on A4 or Letter."""

from __future__ import annotations

import datetime
import math
import os
from html import escape
from pathlib import Path

from gainlib.errors import GainError
from gainlib.meters import measures
from gainlib.storage import atomic_write
from gainlib.surveys.checks import Fault, passages
from gainlib.surveys.comparison import Changes
from gainlib.surveys.drawings import Column, level_diagram, waveform
from gainlib.surveys.report import said_of_sum, said_of_thresholds, verdict
from gainlib.surveys.result import SurveyResult
from gainlib.surveys.stem import Stem
from gainlib.surveys.trims import noise_of
from gainlib.text import clock, printable, signed

__all__ = ["fragment", "gain_sheet", "require_writable", "write_sheet"]

_DRAWN = 40
_WAVES = 120
_PLACES = 12

# Inks on light and dark paper: the Okabe-Ito set (published, Okabe and Ito 2002) and greys, as in the course.
_STYLE = """
:root{--peak:#0072B2;--rms:#B0568A;--noise:#5F6670;--ceiling:#D55E00;--trouble:#B34E00;--text:#1A1D21;--muted:#5F6670;
--paper:#fff;--grid:#DFE2E6;--band:#F3F5F7}
@media screen and (prefers-color-scheme:dark){:root{--peak:#56B4E9;--rms:#CC79A7;--noise:#A9B1BC;--ceiling:#E69F00;
--trouble:#E69F00;--text:#E8EAED;--muted:#A9B1BC;--paper:#111;--grid:#33373D;--band:#1B1D20}}
*{box-sizing:border-box}
html{background:var(--paper);color:var(--text);-webkit-print-color-adjust:exact;print-color-adjust:exact}
body{font:14px/1.45 system-ui,-apple-system,"Segoe UI",Roboto,"Noto Sans",sans-serif;max-width:1080px;margin:0 auto;
padding:24px 20px;font-variant-numeric:tabular-nums}
h1{font-size:22px;margin:0 0 2px}h2{font-size:16px;margin:26px 0 6px}
p{margin:4px 0}.muted,caption,figcaption{color:var(--muted)}
.scroll{overflow-x:auto}
table{border-collapse:collapse;width:100%;font-size:12.5px}
caption{text-align:left;padding:0 0 4px}
th,td{padding:3px 6px;text-align:right;border-bottom:1px solid var(--grid);vertical-align:top}
th{font-weight:600;vertical-align:bottom}th:first-child,td:first-child{text-align:left}
td.words,th.words{text-align:left}
tbody th{font-weight:600;overflow-wrap:anywhere;min-width:7em}
td.trim{font-weight:600}tr.bad th::before{content:"▼ ";color:var(--trouble)}
.trouble{color:var(--trouble);font-weight:600}
figure{margin:8px 0 0;break-inside:avoid}figcaption{font-size:12.5px}
svg{display:block;width:100%;height:auto;overflow:visible}
svg text{font-size:12px;fill:var(--muted)}svg .number{fill:var(--peak);font-weight:600}
svg .stem{fill:var(--text)}svg .marked{fill:var(--trouble);font-weight:600}
.grid{stroke:var(--grid);stroke-width:1}.seam{stroke:var(--muted);stroke-width:1;stroke-dasharray:2 4}
.hatch{stroke:var(--ceiling);stroke-width:1.6;opacity:.6}.ceiling{stroke:var(--ceiling);stroke-width:2.5}
.target{stroke:var(--text);stroke-width:1.3;stroke-dasharray:9 4 2 4}
.river{fill:var(--peak);opacity:.16}.peak{stroke:var(--peak);stroke-width:3}
.rms{stroke:var(--rms);stroke-width:2.4;stroke-dasharray:6 4}
.noise{stroke:var(--noise);stroke-width:2;stroke-dasharray:1.5 3}
.outline{fill:var(--peak);stroke:var(--peak);stroke-width:.6}
path.mark{fill:var(--trouble)}line.mark{stroke:var(--trouble);stroke-width:1.2}
.waves{display:grid;grid-template-columns:repeat(auto-fill,minmax(300px,1fr));gap:10px 22px}
.waves figure{margin:0}.waves figcaption b{color:var(--text)}
ul{margin:4px 0;padding-left:20px}li{margin:2px 0;break-inside:avoid}
.key span{margin-right:18px;white-space:nowrap}
.key svg{display:inline-block;width:34px;height:10px;vertical-align:middle}
@page{margin:14mm 12mm}
@media print{body{max-width:none;padding:0;font-size:9.5pt}h1{font-size:15pt}h2{font-size:11.5pt;break-after:avoid}
table{font-size:7.4pt}th,td{padding:1.5pt 2.6pt}thead{display:table-header-group}tr{break-inside:avoid}
h2+p{break-after:avoid}
.waves{grid-template-columns:1fr 1fr}.scroll{overflow:visible}tbody th{min-width:7.5em}}
"""

_COLUMNS = (
    ("peak_dbfs", "Peak"), ("true_peak_dbtp", "True peak"), ("active_rms_dbfs", "RMS while active"),
    ("loudness_lufs", "Loudness"), ("short_term_max_lufs", "Short-term, highest"), ("loudness_range_lu", "Range"),
    ("crest_db", "Crest"), ("noise_floor_dbfs", "Noise floor"), ("dc_offset_dbfs", "DC"),
    ("clipped_runs", "Clipped"), ("flat_tops", "Flat tops"),
)  # fmt: skip


def write_sheet(
    survey: SurveyResult, path: str | os.PathLike[str], *, changes: Changes | None = None, overwrite: bool = False
) -> Path:
    """Write the gain sheet as one HTML file, whole or not at all; gives the path back.

    Raises GainError for a file that is there already unless `overwrite` is set, and where it cannot be written.
    """
    return atomic_write(require_writable(path, overwrite=overwrite), gain_sheet(survey, changes=changes))


def require_writable(path: str | os.PathLike[str], *, overwrite: bool = False) -> Path:
    """The path, or a GainError where a file is there already or its folder is not.

    >>> require_writable("sheet-of-nobody.html").name
    'sheet-of-nobody.html'
    """
    where = Path(path)
    if where.is_dir():
        raise GainError(f"{printable(path)} is a folder; name a file.")
    if where.exists() and not overwrite:
        raise GainError(f"{printable(path)} is there already; choose another name or say --overwrite.")
    if not where.resolve().parent.is_dir():
        raise GainError(f"the folder {printable(where.resolve().parent)} is not there; make it first.")
    return where


def gain_sheet(survey: SurveyResult, *, changes: Changes | None = None, on: datetime.date | None = None) -> str:
    """The gain sheet as HTML that needs nothing else: no script, no font, no picture from outside.

    `changes` adds what is different from an earlier survey; `on` is the date that it bears, today's unless given.

    >>> from gainlib.storage import bundled_folder
    >>> from gainlib.surveys.survey import survey
    >>> "<script" in gain_sheet(survey(bundled_folder("media") / "bass.flac"))
    False
    """
    title = f"Gain sheet: {survey.title}" if survey.title else "Gain sheet"
    body = [
        f"<h1>{escape(title)}</h1>",
        f'<p class="muted">{(on or datetime.date.today()).isoformat()}</p>',
        f"<p>{escape(verdict(survey))}</p>",
    ]
    if not survey.whole:
        body.append('<p class="trouble">The survey was ended before its end; this is what was finished.</p>')
    body += _sum(survey)
    body += _faults(survey)
    body += _table(survey)
    body += _diagrams(survey)
    body += _waves(survey)
    if changes is not None:
        body += ["<h2>What has changed</h2>", _list(changes.lines)]
    body += ["<h2>What this goes by</h2>", _list([*survey.practice.sentences, *survey.notes])]
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>{escape(title)}</title>'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        '<meta name="color-scheme" content="light dark">'
        f"<style>{_STYLE}</style></head><body><main>{''.join(body)}</main></body></html>\n"
    )


def fragment(survey: SurveyResult) -> str:
    """What is wrong and the table, to stand in a page of another's, such as a notebook, in its inks.

    >>> from gainlib.storage import bundled_folder
    >>> from gainlib.surveys.survey import survey
    >>> fragment(survey(bundled_folder("media") / "bass.flac")).startswith("<style>")
    True
    """
    return f'<style>{_INSIDE}</style><div class="gainlib-sheet">{"".join([*_faults(survey), *_table(survey)])}</div>'


_INSIDE = """
.gainlib-sheet{color:var(--jp-ui-font-color1,inherit);font-variant-numeric:tabular-nums;line-height:1.45}
.gainlib-sheet h2{font-size:15px;margin:14px 0 4px}
.gainlib-sheet .scroll{overflow-x:auto}
.gainlib-sheet table{border-collapse:collapse;font-size:12.5px}
.gainlib-sheet caption{text-align:left;color:var(--jp-ui-font-color2,inherit)}
.gainlib-sheet th,.gainlib-sheet td{padding:3px 7px;text-align:right;vertical-align:top;
border-bottom:1px solid var(--jp-border-color2,#ccc)}
.gainlib-sheet th:first-child{text-align:left}
.gainlib-sheet td.trim{font-weight:600}
.gainlib-sheet tr.bad th::before{content:"▼ "}
.gainlib-sheet ul{margin:4px 0;padding-left:20px}
"""


def _list(sentences: list[str] | tuple[str, ...]) -> str:
    return f"<ul>{''.join(f'<li>{escape(each)}</li>' for each in sentences)}</ul>"


def _sum(survey: SurveyResult) -> list[str]:
    told = [*said_of_sum(survey), *said_of_thresholds(survey)]
    return ["<h2>What to do at the main</h2>", *(f"<p>{escape(each)}</p>" for each in told)] if told else []


def _faults(survey: SurveyResult) -> list[str]:
    items = []
    for each in survey.faults:
        at = f' <span class="muted">{escape(_passages(survey, each))}</span>' if each.count > 1 and each.places else ""
        sign = "" if each.remark else '<span class="trouble">▼</span> '
        items.append(f"<li>{sign}<b>{escape(each.stem)}</b>: {escape(each.sentence)}{at}</li>")
    items += [
        f'<li><span class="trouble">▼</span> <b>{escape(name)}</b>: not read. {escape(sentence)}</li>'
        for name, sentence in survey.unreadable
    ]
    if not items:
        return ["<h2>What is wrong</h2><p>Nothing was found.</p>"]
    return [f"<h2>What is wrong, the worst first</h2><ul>{''.join(items)}</ul>"]


def _passages(survey: SurveyResult, fault: Fault) -> str:
    """Where it is, run by run where they stand apart, from when to when where they crowd."""
    stem, tempo = survey.stem(fault.stem), survey.tempo
    found = passages(stem.clipped if fault.kind == "clipped" else stem.flat, stem.rate_hz)
    told = []
    for start, end in found[:_PLACES]:
        bars = (tempo.place(start), tempo.place(end)) if tempo else ("", "")
        span = f"{clock(start)} to {clock(end)}" if end - start >= 0.05 else clock(start)
        bar = "" if not tempo else f" (bar {bars[0]})" if bars[0] == bars[1] else f" (bar {bars[0]} to {bars[1]})"
        told.append(span + bar)
    more = f" and {len(found) - len(told)} passages more" if len(found) > len(told) else ""
    return f"Where: {', '.join(told)}{more}."


def _table(survey: SurveyResult) -> list[str]:
    known = measures()
    heads = "".join(
        f'<th scope="col" title="{escape(known[name].meaning, quote=True)}">{escape(head)}'
        f"{f'<br>{known[name].unit}' if known[name].unit else ''}</th>"
        for name, head in _COLUMNS
    )
    chosen = known[survey.practice.measure]
    rows = []
    for stem in survey.stems:
        trim = survey.trim(stem.name)
        bad = any(not each.remark for each in survey.faults_of(stem.name))
        cells = "".join(f"<td>{_cell(stem, name)}</td>" for name, _ in _COLUMNS)
        held = {"peaks": "*", "silence": "", "lacks": ""}.get(trim.held, "")
        after = "" if trim.after is None else _plain(trim.after, 1)
        rows.append(
            f'<tr{" class=bad" if bad else ""}><th scope="row">{escape(stem.name)}</th>{cells}'
            f'<td class="trim">{signed(trim.gain_db, 1, "")}{held}</td><td>{after}</td>'
            f"<td>{_plain(trim.true_peak_dbtp, 1)}</td></tr>"
        )
    star = " * held back by its peaks." if any(each.held == "peaks" for each in survey.trims) else ""
    return [
        '<h2>Levels and trims</h2><div class="scroll"><table>'
        f"<caption>Every stem as it is, the trim proposed, and what it comes to; ▼ something is wrong with it.{star} "
        "RMS levels are AES17.</caption>"
        f'<thead><tr><th scope="col">Stem</th>{heads}<th scope="col">Trim<br>dB</th>'
        f'<th scope="col">After: {escape(_head_of(survey.practice.measure))}<br>{chosen.unit}</th>'
        '<th scope="col">After: true peak<br>dBTP</th></tr></thead>'
        f"<tbody>{''.join(rows)}</tbody></table></div>"
    ]


def _head_of(measure: str) -> str:
    head = next((head for name, head in _COLUMNS if name == measure), measure.rsplit("_", 1)[0])
    return head if head.startswith("RMS") else head.lower()


def _cell(stem: Stem, name: str) -> str:
    value = stem.readings.get(name)
    if value is None:
        return "–"
    return _plain(value, measures()[name].digits)


def _plain(value: float, digits: int) -> str:
    return signed(value, digits, "", plus=False)


def _diagrams(survey: SurveyResult) -> list[str]:
    stems, level = survey.stems[:_DRAWN], "active_rms_dbfs"
    before = [
        Column(
            each.name, each.readings["peak_dbfs"], each.readings["active_rms_dbfs"], noise_of(each), _bad(survey, each)
        )
        for each in stems
    ]
    after = [
        Column(
            each.name,
            trim.peak_dbfs,
            each.readings["active_rms_dbfs"] + trim.gain_db,
            trim.noise_dbfs,
            _bad(survey, each),
        )
        for each in stems
        for trim in [survey.trim(each.name)]
    ]
    last = 0
    if survey.sum is not None:
        total, last = survey.sum, 2
        quiet = None if total.noise_dbfs is None else total.noise_dbfs - total.main_trim_db
        before.append(
            Column("sum", total.before["peak_dbfs"], total.before[level], None, total.before["peak_dbfs"] > 0)
        )
        after += [
            Column("sum", total.after["peak_dbfs"], total.after[level], quiet),
            Column("main", total.delivered("peak_dbfs"), total.delivered(level), total.noise_dbfs),
        ]
    target = survey.practice.value if survey.practice.measure in ("active_rms_dbfs", "rms_dbfs") else None
    more = f" The {_DRAWN} first of {len(survey.stems)} are drawn." if len(survey.stems) > _DRAWN else ""
    figures = [
        ("As they are", before, None, min(last, 1)),
        ("With the trims", after, target, last),
    ]
    drawn = [
        f"<figure><figcaption><b>{head}.</b> {escape(_key_of(head, goal))}{escape(more)}</figcaption>"
        f"{level_diagram(columns, _said(head, columns), target_dbfs=goal, last=ends)}</figure>"
        for head, columns, goal, ends in figures
        if columns
    ]
    strokes = (("peak", "peak"), ("rms", "RMS while active (AES17)"), ("noise", "noise floor, where there is a pause"),
               ("ceiling", "full scale"), ("target", "target"))  # fmt: skip
    key = "".join(
        f'<span><svg viewBox="0 0 34 10" aria-hidden="true"><line class="{kind}" x1="0" x2="34" y1="5" y2="5"/></svg> '
        f"{escape(word)}</span>"
        for kind, word in strokes
        if kind != "target" or target is not None
    )
    return ["<h2>Level diagram</h2>", f'<p class="key muted">{key}</p>', *drawn] if drawn else []


def _key_of(head: str, target: float | None) -> str:
    if head == "As they are":
        return "Each stem from its noise floor to its peak, and the sum of all with every fader at 0 dB."
    ends = "then the sum, and the main after its trim."
    return (
        f"The same after the trims; {ends}" if target is None else f"The same after the trims toward the target; {ends}"
    )


def _said(head: str, columns: list[Column]) -> str:
    parts = [
        f"{each.name}: peak {signed(each.peak_dbfs, 1, 'dBFS')}, RMS {signed(each.rms_dbfs, 1, 'dBFS')}"
        for each in columns
    ]
    return f"{head}. {'; '.join(parts)}."


def _bad(survey: SurveyResult, stem: Stem) -> bool:
    return any(not each.remark for each in survey.faults_of(stem.name))


def _waves(survey: SurveyResult) -> list[str]:
    drawn = []
    for stem in survey.stems[:_WAVES]:
        faults = survey.faults_of(stem.name)
        marks = [each for each in faults if each.places]
        told = "; ".join(f"▼ {each.kind}, {each.count}" for each in marks)
        peak = stem.readings["peak_dbfs"]
        level = "silent" if math.isinf(peak) else f"peak {signed(peak, 1, 'dBFS')}"
        marked = f' <span class="trouble">{escape(told)}</span>' if told else ""
        drawn.append(
            f"<figure>{waveform(stem, marks)}<figcaption><b>{escape(stem.name)}</b> {clock(stem.seconds)}, {level}"
            f"{marked}</figcaption></figure>"
        )
    if not drawn:
        return []
    more = f", the {_WAVES} first of {len(survey.stems)}" if len(survey.stems) > _WAVES else ""
    return [
        f'<h2>Waveforms</h2><p class="muted">Each against its own peak, from its start to its end{more}; '
        f'▼ marks a clipped place.</p><div class="waves">{"".join(drawn)}</div>'
    ]
