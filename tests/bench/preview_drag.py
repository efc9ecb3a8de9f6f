"""
How the preview page keeps up with a hand, in a browser: ``python -m tests.bench.preview_drag``.

Chromium, without a window, on 1440 x 900; a slider is moved sixty times a second for three seconds,
then let go. For each slider: pictures drawn a second while it moves, the longest gap between two,
and the time from letting go to the exact picture. Then, with a blur of 5 mm asked for first, the
time to the picture of a change made after it.
"""

import sys
import threading
from pathlib import Path

from selenium.webdriver import Chrome

from linesim.preview.serve import served
from linesim.setup.load import load_setup, sample_setup
from tests.bench.preview_picture import browser

SLIDERS = (
    "light.illuminance",
    "lens.f_number",
    "transport.speed",
    "exposure_share",
    "lens.defocus",
    "camera.gain",
)
_DRAG = """
const [key, done] = arguments;
const range = document.querySelector(`[data-key="${key}"] input[type=range]`);
const drawn = [];
let last = linesim.answers.b;
let going = true;
const watch = () => {
  if (linesim.answers.b !== last) {
    last = linesim.answers.b;
    if (last.picture) drawn.push(performance.now());
  }
  if (going) requestAnimationFrame(watch);
};
const from = Number(range.value);
const begun = performance.now();
requestAnimationFrame(watch);
let k = 0;
range.dispatchEvent(new PointerEvent("pointerdown", { bubbles: true }));
const timer = setInterval(() => {
  k += 1;
  range.value = String(from + Math.round(120 * Math.sin(k / 20)));
  range.dispatchEvent(new Event("input", { bubbles: true }));
  if (performance.now() - begun < 3000) return;
  clearInterval(timer);
  const released = performance.now();
  const count = drawn.length;
  range.dispatchEvent(new PointerEvent("pointerup", { bubbles: true }));
  range.dispatchEvent(new Event("change", { bubbles: true }));
  const rest = () => {
    if (!linesim.idle) { setTimeout(rest, 4); return; }
    requestAnimationFrame(() => {
      going = false;
      const gaps = [begun, ...drawn.slice(0, count)].map((at, j, all) => (j ? at - all[j - 1] : 0));
      done([count / 3, Math.max(...gaps), performance.now() - released]);
    });
  };
  rest();
}, 1000 / 60);
"""
_STALL = """
const done = arguments[0];
const typed = (key, text) => {
  const field = document.querySelector(`[data-key="${key}"] input[type=text]`);
  field.value = text;
  field.dispatchEvent(new Event("change", { bubbles: true }));
};
typed("lens.blur", "5000");
setTimeout(() => {
  const begun = performance.now();
  const before = linesim.answers.b;
  typed("lens.blur", "2");
  const rest = () => {
    if (linesim.idle && linesim.answers.b !== before) done(performance.now() - begun);
    else if (performance.now() - begun > 90000) done(Infinity);
    else setTimeout(rest, 10);
  };
  rest();
}, 700);
"""
_READY = """
const done = arguments[0];
const rest = () => (globalThis.linesim && linesim.idle && linesim.answers.b?.picture
  ? setTimeout(done, 500) : setTimeout(rest, 50));
rest();
"""


def measure(page: Chrome, address: str) -> None:
    """Drag each slider on a fresh page, then stall it."""
    page.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": 1440, "height": 900, "deviceScaleFactor": 1, "mobile": False},
    )
    page.set_script_timeout(120)
    sys.stdout.write(f"{'dragged':<24}{'pictures/s':>11}{'longest gap':>13}{'exact after':>13}\n")
    for key in SLIDERS:
        page.get("about:blank")
        page.get(address)
        page.execute_async_script(_READY)
        rate, gap, after = page.execute_async_script(_DRAG, key)
        sys.stdout.write(f"{key:<24}{rate:>11.1f}{gap:>10.0f} ms{after:>10.0f} ms\n")
        sys.stdout.flush()
    stalled = page.execute_async_script(_STALL)
    sys.stdout.write(f"a change after a blur of 5 mm was asked for: {stalled:.0f} ms\n")


def main() -> None:
    """Measure the built-in sample, or a setup."""
    setup = load_setup(Path(sys.argv[1])) if len(sys.argv) > 1 else sample_setup()
    with served(setup, "bench") as found:
        thread = threading.Thread(target=found.run)
        thread.start()
        page = browser()
        try:
            measure(page, found.address)
        finally:
            page.quit()
            found.server.should_exit = True
            thread.join(90)


if __name__ == "__main__":
    main()
