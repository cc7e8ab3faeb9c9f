"""How a page tells a proof while it runs and when it is done, with the file that was proven."""

from __future__ import annotations

import json
from collections.abc import Callable
from html import escape
from pathlib import Path

from gainlib.authoring.messages import FileFault
from gainlib.authoring.verification import Verification
from gainlib.exercises.collection import read_content
from gainlib.text import counted
from gainlib.widgets.form import Form

__all__ = ["file_html", "headline", "proof_html", "proven"]


def proven(form: Form, work: Callable[[Callable[[str, int], None]], Verification]) -> Verification:
    """A proof while its form says how far it is."""

    def told(doing: str, answers: int) -> None:
        if answers % 20 == 0:
            form.said = f"{doing}: {counted(answers, 'answer')} measured"

    form.busy = True
    try:
        return work(told)
    finally:
        form.busy = False


def headline(proof: Verification) -> str:
    """What a proof comes to, in a sentence, and what is done next."""
    if proof.proven:
        here = proof.file.resolve().parent == Path.cwd().resolve()
        path = proof.file.name if here else proof.file.as_posix()
        sit = f'gl.exercise({json.dumps(path, ensure_ascii=False)}, learner="Bea")'
        return f"Proven, in {counted(proof.variants, 'variant')}. To sit it yourself, in a cell of your own: {sit}"
    if proof.sound:
        return "Nothing wrong at a quick look. Prove it before you give it out."
    return f"Not proven, {counted(len(proof.faults), 'thing')} to mend."


def proof_html(proof: Verification | None, file: Path, worded: Callable[[str], str] = str) -> str:
    """What the last proof says, and the file as it was written; `worded` puts a fault in the words of the page."""
    if proof is None:
        return ""
    told = [*(("wrong", each) for each in proof.faults), *(("look at", each) for each in proof.remarks)]
    rows = [(word, FileFault(each.line, worded(each.said)).text) for word, each in told]
    rows += [("shown", each) for each in proof.shown]
    if proof.not_looked_at:
        rows.append(("not yet", "; ".join(proof.not_looked_at)))
    body = "".join(f"<tr><th>{word}</th><td>{escape(said)}</td></tr>" for word, said in rows)
    return f'<table class="gainlib-writing-readings">{body}</table>{file_html(file)}'


def file_html(file: Path, *, opened: bool = False) -> str:
    """The file as it was written, with the numbers of its lines, folded unless `opened`."""
    lines = enumerate(read_content(file).rstrip().split("\n"), 1)
    text = "\n".join(f"{number:3d}  {line}" for number, line in lines)
    opens = " open" if opened else ""
    return f"<details{opens}><summary>The file, as it was written</summary><pre>{escape(text)}</pre></details>"
