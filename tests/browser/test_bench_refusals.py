"""Every refusal that a bench may say is there whole, at every size of a tablet."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from kitting.packing import words
from kitting.web import words as ground
from tests.benches import make_packing
from tests.browser.still import show
from tests.browser.test_bench_sizes import CUT_OFF, SIZES, scanner

if TYPE_CHECKING:
    from playwright.sync_api import Page

# Which of the sentences is not there whole, each said in its turn.
CUT = f"""sentences => sentences.map(([code, wrong, to_do]) => {{
  const next = document.querySelector('#bench-next');
  next.querySelector('h2').textContent = wrong;
  next.querySelector('h2').className = wrong.length > 90 ? 'long' : '';
  next.querySelector('.go-to').textContent = to_do;
  return [code, ({CUT_OFF})()];
}}).filter(([_code, cut]) => cut.length)"""
LONG = {
    "reason": "Rough at the edge of the forehead, found by a nurse",
    "product": "Face shield with chin piece",
    "part": "Chin piece, clear",
}
VALUE = "B1-000 0123 4"
LISTED = ", ".join([VALUE] * 3)


def said(text: str) -> tuple[str, str]:
    """A sentence with values as long as they come, cut as the bench cuts it."""
    names = re.findall(r"%\((\w+)\)", text)
    values = {n: LONG.get(n, LISTED if n.endswith("s") else VALUE) for n in names}
    wrong, _point, to_do = (text % values).partition(". ")
    return wrong.rstrip("."), to_do


@pytest.mark.django_db
def test_every_refusal_is_there_whole_at_every_size(
    page: Page, make_user, client_for
) -> None:
    at = make_packing()
    client = client_for(make_user("packer", group="packer"))
    show(page, scanner(client, at)("no such number"))
    sentences = {**ground.SENTENCES, **words.SENTENCES}
    assert len(sentences) > 150
    # What has no second sentence is said of files and forms only.
    whole = [(code, *said(str(text))) for code, text in sentences.items()]
    assert not {code for code, _, to_do in whole if not to_do} & set(words.SENTENCES)
    at_bench = [each for each in whole if each[2]]
    cut = {}
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        if found := page.evaluate(CUT, at_bench):
            cut[f"{width} × {height}"] = found
    assert cut == {}
