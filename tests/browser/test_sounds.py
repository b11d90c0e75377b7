"""What a bench sounds like: right, wrong, waiting, done, each with its sign and word."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from kitting.models import Bench, Box
from tests.benches import Packing
from tests.browser.benching import next_words, type_scan, waiting

pytestmark = [pytest.mark.django_db(transaction=True)]

EARS = """
    window.heard = [];
    const param = () => ({ setValueAtTime() {}, linearRampToValueAtTime() {}, value: 0 });
    window.AudioContext = class {
      state = "running";
      currentTime = 0;
      createGain() { return { gain: param(), connect: (to) => to }; }
      createOscillator() {
        return {
          frequency: param(),
          connect: (to) => to,
          start(from) { this.from = from; },
          stop(to) {
            window.heard.push([this.frequency.value, Math.round(100 * (to - this.from))]);
          },
        };
      }
    };
"""
"""An audio device that notes each tone: how high, and how many hundredths of a second."""

SIGN = "getComputedStyle(document.getElementById('bench-next'), '::%s').%s"


def heard(page: Page) -> tuple[tuple[float, int], ...]:
    found = page.evaluate("heard.splice(0)")
    return tuple((pitch, hundredths) for pitch, hundredths in found)


def shown(page: Page) -> tuple[str, str]:
    """The shape and the word of the sign."""
    shape = page.evaluate(SIGN % ("after", "clipPath"))
    return shape, page.evaluate(SIGN % ("before", "content"))


def pack(page: Page, at: Packing) -> dict[str, list[object]]:
    """A box from its start to its label, with one wrong scan and one that waits."""
    found: dict[str, list[object]] = {}

    def note(state: str) -> None:
        found[state] = [heard(page), *shown(page)]

    type_scan(page, "ACT-BOX-6")
    expect(next_words(page)).to_have_text("Headband: scan a bag")
    note("right")
    type_scan(page, "nonsense")
    expect(page.locator("#bench-next")).to_have_attribute("data-state", "wrong")
    note("wrong")
    page.context.set_offline(True)
    type_scan(page, at.band_bag.number)
    expect(waiting(page)).to_have_text("1 scan waits")
    expect(next_words(page)).to_have_text("No network")
    note("wait")
    page.context.set_offline(False)
    expect(waiting(page)).to_have_text("No scan waits")
    for bag in at.bags[1:]:
        type_scan(page, bag.number)
    type_scan(page, "ACT-CLOSE")
    expect(page.locator("#bench-next")).to_have_attribute("data-step", "label")
    heard(page)
    type_scan(page, str(Box.objects.get().serial))
    expect(page.locator("#bench-next[data-done]")).to_be_visible()
    note("done")
    return found


def test_each_state_has_its_own_sound_sign_and_word(
    page: Page, at: Packing, bench
) -> None:
    page.add_init_script(EARS)
    bench()
    found = pack(page, at)
    words = [word for _sound, _shape, word in found.values()]
    assert words == ['"Right"', '"Wrong"', '"Waits"', '"Done"']
    assert len({shape for _sound, shape, _word in found.values()}) == 4
    sounds = [sound for sound, _shape, _word in found.values()]
    rhythms = {tuple(hundredths for _, hundredths in sound) for sound in sounds}
    assert len(rhythms) == 4
    assert all(len(sound) >= 2 for sound in sounds)


def test_a_bench_that_was_made_silent_keeps_its_signs_and_words(
    page: Page, at: Packing, bench
) -> None:
    Bench.objects.filter(pk=at.bench.pk).update(sounds=False)
    page.add_init_script(EARS)
    bench()
    found = pack(page, at)
    assert [sound for sound, _shape, _word in found.values()] == [()] * 4
    words = [word for _sound, _shape, word in found.values()]
    assert words == ['"Right"', '"Wrong"', '"Waits"', '"Done"']
