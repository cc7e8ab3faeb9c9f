"""A figure in a page: nothing in it ends its script, and the same figure is the same text."""

from __future__ import annotations

import json
import re

import numpy as np
from bokeh.plotting import figure

from gainlib.html.figures import SCRIPT, embedded, figure_html, figure_json, script, script_beside


def content_of(drawn):
    return json.loads(re.search(r'<script type="application/json">(.*?)</script>', drawn)[1])


def test_no_text_in_a_figure_ends_its_script():
    bad = figure(title="</script><script>alert(1)</script>")
    texts = {"key": {"text": ["<!--</script>"]}}
    for given in (bad, embedded(bad), json.dumps(embedded(bad))):
        drawn = str(figure_html(given, texts, 'a "label" <b>'))
        assert drawn.count("</script") == 1
        assert "<!--" not in drawn
        assert 'aria-label="a &#34;label&#34; &lt;b&gt;"' in drawn
        assert content_of(drawn)["columns"] == texts


def test_what_is_no_finite_number_is_null():
    drawn = figure_html("{}", {"river": {"peak": np.array([-1.5, np.nan, np.inf]), "x": np.array([1, 2])}})
    assert content_of(drawn)["columns"] == {"river": {"peak": [-1.5, None, None], "x": [1.0, 2.0]}}


def test_the_same_figure_is_the_same_text():
    one, other = figure(title="one"), figure(title="one")
    assert one.id != other.id
    assert figure_json(one) == figure_json(other)


def test_the_script_is_in_the_page_or_beside_it():
    whole, beside = str(script()), str(script_beside())
    assert "src=" not in whole
    assert re.findall(r'src="([^"]*)"', beside) == [SCRIPT]
    assert whole.count("drawAll();") == beside.count("drawAll();") == 1
    # Packed to less than half of BokehJS, which has a million characters.
    assert 100_000 < len(whole) < 600_000
