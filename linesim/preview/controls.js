// The controls, built from what the server says there is: a slider with a typed value, a picker.

const ticks = 1000;

function element(name, attributes = {}, ...inside) {
  const node = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === true) node.setAttribute(key, "");
    else if (value !== false && value !== undefined) node.setAttribute(key, value);
  }
  node.append(...inside);
  return node;
}

const short = (value) => String(Number(Number(value).toPrecision(4)));
const shownUnit = (unit) => unit.replace(/^u(?=m$)/, "µ").replace("^2", "²");

function toTick({ low, high, log }, value) {
  const share = log ? Math.log(Math.max(value, low) / low) / Math.log(high / low) : (value - low) / (high - low);
  return Math.round(ticks * Math.min(Math.max(share, 0), 1));
}

function fromTick({ low, high, log }, tick) {
  const share = tick / ticks;
  const value = log ? low * (high / low) ** share : low + (high - low) * share;
  return Number(value.toPrecision(3));
}

// Where a value stands along a slider, whose ends lie half a thumb inside.
const placed = (plan, value) => `calc(9px + (100% - 18px) * ${toTick(plan, value) / ticks})`;

function lettered(plan, value) {
  if (plan.key === "lens.f_number") return short(value);
  if (plan.key === "exposure_share") return value === 1 ? "all" : `1/${Math.round(1 / value)}`;
  if (!plan.log) return short(value).replace("-", "−");
  // each third stop from the setup's own
  const stops = Math.round(Math.log2(value / plan.value));
  return stops % 3 ? "" : String(Number(value.toPrecision(value < 1 ? 2 : 3)));
}

class Slider {
  constructor(plan, acts) {
    this.plan = plan;
    const id = `c-${plan.key.replace(".", "-")}`;
    const unit = shownUnit(plan.unit);
    this.range = element("input", { type: "range", id: `${id}-range`, min: 0, max: ticks, step: 1, "aria-label": `${plan.label}, slider` });
    this.typed = element("input", { type: "text", inputmode: "decimal", id, size: 7, "aria-label": unit ? `${plan.label} in ${unit}` : plan.label });
    this.reset = element("button", { type: "button", class: "reset", "aria-label": `${plan.label}: back to the setup's`, title: "Back to the setup's value" }, "↺");
    this.scale = element("div", { class: "scale", "aria-hidden": "true" });
    this.said = element("small", { class: "said", id: `${id}-said` });
    this.range.setAttribute("aria-describedby", `${id}-said`);
    for (const value of plan.ticks) {
      const tick = element("i", {}, lettered(plan, value));
      tick.style.left = placed(plan, value);
      this.scale.append(tick);
    }
    this.bands = element("div", { class: "bands", "aria-hidden": "true" });
    this.node = element("div", { class: "control slider", "data-key": plan.key },
      element("div", { class: "row" }, element("label", { for: `${id}-range` }, plan.label), this.typed, element("span", { class: "unit" }, unit), this.reset),
      this.range, ...(plan.first ? [this.bands] : []), ...(plan.ticks.length ? [this.scale] : []), this.said);
    this.range.addEventListener("input", () => acts.slide(plan.key, this.worded(fromTick(plan, Number(this.range.value)))));
    this.range.addEventListener("change", () => acts.rest());
    this.typed.addEventListener("change", () => {
      const value = Number(this.typed.value.trim().replace(",", "."));
      if (this.typed.value.trim() && Number.isFinite(value)) acts.set(plan.key, this.worded(value));
      else this.typed.setAttribute("aria-invalid", "true");
    });
    this.reset.addEventListener("click", () => acts.set(plan.key, undefined));
  }

  worded(value) {
    return this.plan.unit ? `${value} ${this.plan.unit}` : value;
  }

  show(value, own) {
    const given = own === undefined ? value : Number.parseFloat(own);
    const none = given === null || Number.isNaN(given);
    if (!none) {
      const tick = String(toTick(this.plan, given));
      if (this.range.value !== tick) this.range.value = tick;
    }
    const unit = shownUnit(this.plan.unit);
    this.range.setAttribute("aria-valuetext", none ? "none" : `${short(given)} ${unit}`.trim());
    if (document.activeElement !== this.typed || own !== undefined) this.typed.value = none ? "" : short(given);
    this.typed.removeAttribute("aria-invalid");
    this.reset.disabled = own === undefined;
    this.node.classList.toggle("moved", own !== undefined);
  }

  // Where all is met and where the picture clips; nothing where that is not known for what is set.
  mark(found) {
    this.bands.replaceChildren();
    this.said.textContent = "";
    if (!found) return;
    const { plan } = this;
    for (const kind of ["met", "clips"]) {
      for (const [from, to] of found[kind]) {
        const band = element("i", { class: kind });
        band.style.left = placed(plan, from);
        band.style.right = `calc(100% - (${placed(plan, to).slice(5, -1)}))`;
        this.bands.append(band);
      }
    }
    const unit = shownUnit(plan.unit);
    const told = (value) => String(Number(value.toPrecision(2))).replace("-", "−");
    const hair = 1e-6 * (plan.high - plan.low);
    const [low, high] = [plan.low + hair, plan.high - hair];
    const range = ([from, to]) => (from <= low && to >= high ? "everywhere" : from <= low ? `up to ${told(to)}` : to >= high ? `from ${told(from)} on` : `${told(from)} to ${told(to)}`);
    const said = (word, ranges) => (ranges.length ? [`${word} ${ranges.map(range).join(", ")}`] : []);
    const parts = [...(found.met.length ? said("met", found.met) : ["met nowhere"]), ...said("clips", found.clips)];
    // the unit stands once, behind the last number
    this.said.textContent = parts.join("; ").replace(/(\d)(?=\D*$)/, `$1${unit ? ` ${unit}` : ""}`);
  }
}

function grid(word) {
  const [across, along] = word.split("x").map(Number);
  const glyph = element("span", { class: "glyph", "aria-hidden": "true" });
  for (let k = 0; k < 16; k += 1) glyph.append(element("i", { class: k % 4 < across && Math.floor(k / 4) < along ? "full" : "" }));
  return glyph;
}

class Tiles {
  constructor(plan, { set: act }) {
    this.plan = plan;
    this.inputs = plan.choices.map((word) => {
      const input = element("input", { type: "radio", name: plan.key, value: word });
      input.addEventListener("change", () => act(plan.key, word));
      return input;
    });
    this.node = element("fieldset", { class: "control tiles", "data-key": plan.key }, element("legend", {}, plan.label),
      element("div", { class: "tile-row" }, ...this.inputs.map((input, k) => element("label", {}, input, grid(plan.choices[k]), plan.choices[k].replace("x", "×")))));
  }

  show(value, own) {
    for (const input of this.inputs) input.checked = input.value === String(own ?? value);
    this.node.classList.toggle("moved", own !== undefined);
  }
}

class Picker {
  constructor(plan, { set: act }) {
    this.plan = plan;
    const id = `c-${plan.key.replace(".", "-")}`;
    this.select = element("select", { id }, ...plan.choices.map((each, k) => element("option", { value: k }, String(each))));
    this.node = element("div", { class: "control", "data-key": plan.key }, element("label", { for: id }, plan.label), element("div", { class: "row" }, this.select));
    this.select.addEventListener("change", () => act(plan.key, plan.choices[Number(this.select.value)]));
  }

  show(value, own) {
    this.select.value = String(this.plan.choices.indexOf(own ?? value));
    this.node.classList.toggle("moved", own !== undefined);
  }
}

class Target {
  constructor(start, acts) {
    this.acts = acts;
    this.select = element("select", { id: "target" });
    this.pixel = element("input", { type: "text", inputmode: "decimal", id: "target-pixel", size: 7 });
    this.file = element("input", { type: "file", id: "own-image", accept: ".png,.tif,.tiff,.jpg,.jpeg" });
    this.codes = element("select", { id: "own-codes" }, element("option", { value: "srgb" }, "sRGB"), element("option", { value: "linear" }, "linear light"));
    this.pixelRow = element("div", { class: "control" }, element("label", { for: "target-pixel" }, "A pixel of the own image, on the real thing"),
      element("div", { class: "row" }, this.pixel, element("span", { class: "unit" }, "µm")));
    this.put = element("input", { type: "checkbox", id: "put-in" });
    this.putRow = element("label", { class: "check" }, this.put, " Put the defect into it");
    this.node = element("div", {},
      element("div", { class: "control", "data-key": "target" }, element("label", { for: "target" }, "Target"), element("div", { class: "row" }, this.select)),
      this.putRow, this.pixelRow);
    this.put.addEventListener("change", () => acts.putIn(this.put.checked));
    this.own = element("div", {},
      element("div", { class: "control" }, element("label", { for: "own-image" }, "Own image of the target: PNG, TIFF or JPEG, to 64 MB and 24 million pixels; it stays on this machine"),
        element("div", { class: "row" }, this.file)),
      element("div", { class: "control" }, element("label", { for: "own-codes" }, "Image encoding"), element("div", { class: "row" }, this.codes)));
    this.names(start);
    this.select.addEventListener("change", () => acts.set("target", this.select.value === "own" ? undefined : this.select.value));
    this.pixel.addEventListener("change", () => acts.set("target.pixel_size", `${this.pixel.value.trim()} um`));
    this.file.addEventListener("change", () => { if (this.file.files.length) acts.upload(this.file.files[0], this.codes.value); });
  }

  names({ own_target, targets, uploads }) {
    this.select.replaceChildren(element("option", { value: "own" }, `the setup's own: ${own_target}`),
      ...targets.map((each) => element("option", { value: each }, `built in: ${each}`)),
      ...Object.entries(uploads).map(([word, name]) => element("option", { value: word }, `own image: ${name}`)));
  }

  show(state, { target: texts, defects } = {}) {
    const { changes } = state;
    this.put.checked = state.putIn;
    if (defects) this.put.disabled = !defects.can_be_put_in;
    const word = changes.target ?? "own";
    if (![...this.select.options].some((each) => each.value === word)) this.select.append(element("option", { value: word }, `not held any more: ${word}`));
    this.select.value = word;
    this.pixelRow.hidden = !word.startsWith("upload-");
    if (document.activeElement !== this.pixel) this.pixel.value = String(Number.parseFloat(texts ? texts.pixel_size : ""));
  }
}

const front = ["light.", "lens.f_number", "lens.defocus", "transport.speed", "exposure_share", "acquisition.binning", "camera.gain"];
const rank = (key) => front.findIndex((each) => key.startsWith(each));

export class Controls {
  constructor(form, start, acts) {
    form.addEventListener("submit", (event) => event.preventDefault());
    this.values = {};
    this.parts = new Map();
    this.target = new Target(start, acts);
    const first = [];
    const groups = new Map();
    for (const plan of start.controls) {
      const Kind = plan.kind === "slider" ? Slider : plan.key === "acquisition.binning" ? Tiles : Picker;
      const part = new Kind(plan, acts);
      this.parts.set(plan.key, part);
      this.values[plan.key] = plan.value;
      if (plan.first) {
        first.push([rank(plan.key), part.node]);
        continue;
      }
      if (!groups.has(plan.group)) groups.set(plan.group, []);
      groups.get(plan.group).push(part.node);
    }
    first.sort(([one], [other]) => one - other);
    groups.set("Own target", [this.target.own]);
    groups.set("Noise", [this.noise(acts)]);
    const more = element("details", { id: "more" }, element("summary", {}, "More: what must be found, field of view, camera, noise, own image"),
      ...[...groups].map(([name, nodes]) => element("section", {}, element("h2", {}, name), ...nodes)));
    form.replaceChildren(element("div", { class: "first" }, ...first.map(([, node]) => node), this.target.node), more);
  }

  // Marks along the first sliders, by key.
  mark(key, found) {
    this.parts.get(key).mark(found);
  }

  get marked() {
    return [...this.parts].filter(([, part]) => part.plan.first && part.mark).map(([key]) => key);
  }

  noise(acts) {
    this.seed = element("input", { type: "text", inputmode: "numeric", id: "seed", size: 7 });
    const again = element("button", { type: "button", id: "again" }, "Draw again");
    this.seed.addEventListener("change", () => {
      const value = Number(this.seed.value);
      if (Number.isSafeInteger(value) && value >= 0) acts.seed(value);
      else this.seed.setAttribute("aria-invalid", "true");
    });
    again.addEventListener("click", () => acts.seed(null));
    return element("div", { class: "control" }, element("label", { for: "seed" }, "Seed"), element("div", { class: "row" }, this.seed, again));
  }

  // Values of the setup at hand stand where nothing was moved: a gain that follows the well, say.
  show(state, answer) {
    if (answer && answer.values) Object.assign(this.values, answer.values);
    for (const [key, part] of this.parts) part.show(this.values[key], state.changes[key]);
    this.target.show(state, answer ?? {});
    this.seed.value = String(state.seed);
    this.seed.removeAttribute("aria-invalid");
  }
}
