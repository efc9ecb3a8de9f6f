// A and B: side by side, wiped over each other, or in turn in one place.

const every = 800; // ms; slower than anything that could hurt an eye, and off where motion is not wanted

export class Beside {
  constructor(one, acts) {
    this.one = one;
    this.acts = acts;
    this.mode = "side";
    this.two = false;
    this.timer = null;
    for (const mode of ["side", "wipe", "blink"]) one(mode).addEventListener("click", () => acts.beside(mode));
    one("wiper").addEventListener("input", () => this.wipe());
    one("flip").addEventListener("click", () => { this.stop(); this.flip(); });
  }

  set(mode, two) {
    const { one } = this;
    this.mode = mode;
    this.two = two;
    this.stop();
    one("panes").className = `panes${two ? ` two ${mode}` : ""}`;
    one("pane-b").classList.remove("away");
    one("pane-a").hidden = !two;
    one("modes").hidden = !two;
    for (const each of ["side", "wipe", "blink"]) one(each).setAttribute("aria-pressed", String(each === mode));
    one("wiper").hidden = one("divider").hidden = !(two && mode === "wipe");
    one("flip").hidden = !(two && mode === "blink");
    this.wipe();
    if (two && mode === "blink" && !matchMedia("(prefers-reduced-motion: reduce)").matches) this.timer = setInterval(() => this.flip(), every);
  }

  wipe() {
    const on = this.two && this.mode === "wipe";
    const share = `${this.one("wiper").value / 10}%`;
    this.one("pane-b").style.clipPath = on ? `inset(0 0 0 ${share})` : "";
    this.one("divider").style.left = share;
  }

  flip() {
    this.one("pane-b").classList.toggle("away");
  }

  stop() {
    clearInterval(this.timer);
    this.timer = null;
  }
}
