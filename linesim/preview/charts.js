// Small charts as inline SVG: B solid, A dashed; lines of one are told apart by the names at their ends.

const space = "http://www.w3.org/2000/svg";
const wide = 340;
const tall = 230;
const margins = { left: 46, right: 96, top: 8, bottom: 40 };
const lettering = 12; // height of a line of names above the curves
const looks = 6;

function made(name, attributes, text) {
  const node = document.createElementNS(space, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  if (text !== undefined) node.textContent = text;
  return node;
}

function axis(low, high, log, from, to) {
  const [a, b] = log ? [Math.log10(low), Math.log10(high)] : [low, high];
  return (value) => from + (((log ? Math.log10(value) : value) - a) / (b - a)) * (to - from);
}

function decades(low, high) {
  const found = [];
  for (let power = Math.ceil(Math.log10(low) - 1e-9); power <= Math.log10(high) + 1e-9; power += 1) found.push(10 ** power);
  return found.length > 6 ? found.filter((_, k) => k % 2 === 0) : found;
}

function steps(high) {
  const rough = high / 4;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = power * [1, 2, 5, 10].find((each) => each * power >= rough);
  return Array.from({ length: Math.floor(high / step + 1e-9) + 1 }, (_, k) => Number((k * step).toPrecision(6)));
}

const written = (value) => (value >= 1e4 ? `${value / 1000}k` : String(value));

function path(points) {
  return points.map(([x, y], k) => `${k ? "L" : "M"}${x.toFixed(1)},${y.toFixed(1)}`).join("");
}

// Names at the ends of lines, pushed apart where they would lie on each other.
function apart(names) {
  const gap = 13;
  names.sort((one, other) => one.y - other.y);
  names.forEach((each, k) => { if (k) each.y = Math.max(each.y, names[k - 1].y + gap); });
  const low = tall - margins.bottom + 4;
  if (names.length && names[names.length - 1].y > low) names.forEach((each, k) => { each.y = Math.min(each.y, low - gap * (names.length - 1 - k)); });
  return names;
}

function chart(into, plan) {
  const marks = plan.marks.filter(({ at }) => at >= plan.x[0] && at <= plan.x[1]);
  const frame = { ...margins, top: margins.top + lettering * marks.length };
  const svg = made("svg", { viewBox: `0 0 ${wide} ${tall}`, role: "img", "aria-label": plan.label });
  const x = axis(plan.x[0], plan.x[1], plan.log, frame.left, wide - frame.right);
  const y = axis(plan.y[0], plan.y[1], plan.log, tall - frame.bottom, frame.top);
  for (const value of plan.log ? decades(...plan.x) : steps(plan.x[1])) {
    svg.append(made("line", { class: "grid", x1: x(value), x2: x(value), y1: frame.top, y2: tall - frame.bottom }));
    svg.append(made("text", { x: x(value), y: tall - frame.bottom + 14, "text-anchor": "middle" }, written(value)));
  }
  for (const value of plan.log ? decades(...plan.y) : steps(plan.y[1])) {
    svg.append(made("line", { class: "grid", x1: frame.left, x2: wide - frame.right, y1: y(value), y2: y(value) }));
    svg.append(made("text", { x: frame.left - 5, y: y(value) + 4, "text-anchor": "end" }, written(value)));
  }
  // names stand above the curves, each at the top of its own line
  marks.forEach(({ at, name }, k) => {
    const right = x(at) < frame.left + 110;
    const top = margins.top + lettering * k;
    svg.append(made("line", { class: "mark", x1: x(at), x2: x(at), y1: top, y2: tall - frame.bottom }));
    svg.append(made("text", { class: "marked", x: x(at) + (right ? 3 : -3), y: top + 8, "text-anchor": right ? "start" : "end" }, name));
  });
  const names = [];
  const look = new Map(plan.curves.map(({ name }, k) => [name, k % looks]));
  const drawn = (at, { name, values }, letter) => {
    const points = at.map((each, j) => [x(each), y(Math.max(values[j], plan.log ? plan.y[0] : 0))])
      .filter(([across, each]) => Number.isFinite(each) && across <= wide - frame.right + 0.1);
    if (!points.length || (plan.log && Math.max(...values) < plan.y[0])) return;
    svg.append(made("path", { class: `curve c${look.get(name) ?? 0} ${letter}`, d: path(points) }));
    if (letter === "b") names.push({ name, look: look.get(name), y: points[points.length - 1][1] + 4 });
  };
  for (const each of plan.others ?? []) drawn(plan.othersAt, each, "a");
  for (const each of plan.curves) drawn(plan.at, each, "b");
  for (const each of apart(names)) svg.append(made("text", { x: wide - frame.right + 5, y: each.y, class: `name c${each.look}` }, each.name));
  if (plan.others) svg.append(made("text", { class: "marked", x: frame.left + 5, y: tall - frame.bottom - 6 }, "A dashed, B solid"));
  svg.append(made("text", { x: (frame.left + wide - frame.right) / 2, y: tall - 8, "text-anchor": "middle" }, plan.across));
  into.replaceChildren(svg);
}

const noises = (data) => [{ name: "all noise", values: data.total_e }, ...Object.entries(data.sources).map(([name, values]) => ({ name, values }))];

export function noiseChart(into, data, pinned) {
  const top = Math.max(...data.total_e);
  const low = 0.1;
  chart(into, {
    label: "Noise in electrons by source, over the signal in electrons",
    log: true,
    x: [data.signal_e[0], data.signal_e[data.signal_e.length - 1]],
    y: [low, Math.max(10 ** Math.ceil(Math.log10(top)), 10)],
    at: data.signal_e,
    curves: noises(data),
    others: pinned && noises(pinned),
    othersAt: pinned && pinned.signal_e,
    marks: [{ at: data.white_e, name: "white" }, { at: data.full_e, name: "full" }],
    across: "signal, electrons (noise in electrons)",
  });
}

const transfers = (data) => Object.entries(data.curves).map(([name, values]) => ({ name, values }));

export function mtfChart(into, data, pinned) {
  const at = data.frequency_lp_mm;
  // half a line pair is as wide as the thing that it is marked for
  const size = (lp_mm) => `${Number((500 / lp_mm).toPrecision(3))} µm`;
  const marks = [{ at: data.nyquist_x_lp_mm, name: `object pixel ${size(data.nyquist_x_lp_mm)}` }, { at: data.nyquist_y_lp_mm, name: `along ${size(data.nyquist_y_lp_mm)}` }];
  const same = Math.abs(data.nyquist_x_lp_mm / data.nyquist_y_lp_mm - 1) < 0.02;
  const defect = data.defect_lp_mm ? [{ at: data.defect_lp_mm, name: `defect ${size(data.defect_lp_mm)}` }] : [];
  chart(into, {
    label: "Transfer over frequency on the target",
    log: false,
    x: [0, at[at.length - 1]],
    y: [0, 1],
    at,
    curves: transfers(data),
    others: pinned && transfers(pinned),
    othersAt: pinned && pinned.frequency_lp_mm,
    marks: [...defect, ...(same ? marks.slice(0, 1) : marks)],
    across: "line pairs per mm",
  });
}

// The station from the side, drawn by the server; nothing where the light comes from everywhere.
export function sideView(card, side) {
  card.hidden = !side;
  if (!side) return;
  const [into, caption] = [card.querySelector("[role=img]"), card.querySelector("p")];
  const drawn = new DOMParser().parseFromString(side.image, "image/svg+xml").documentElement;
  into.replaceChildren(document.importNode(drawn, true));
  into.setAttribute("aria-label", side.alt);
  caption.textContent = side.caption;
}

// The light budget step by step, in the report's rows: what is left is filled, what a step took is
// pale behind it. All on one scale of photons and electrons in a sample.
export function lightChart(into, rows, pinned) {
  const others = new Map((pinned ?? []).map((row) => [row.label, row]));
  const levels = [...rows, ...(pinned ?? [])].flatMap(({ level, before }) => [level, before]).filter((each) => each > 0);
  const [low, high] = levels.length ? [Math.floor(Math.log10(Math.min(...levels)) - 0.2), Math.ceil(Math.log10(Math.max(...levels)))] : [0, 1];
  const x = (value) => (value > 0 ? (1000 * (Math.log10(value) - low)) / (high - low) : 0);
  const typeset = (text) => text.replace(/(\d )u(?=[ms]\b)/g, "$1µ").replace(/(\d|m) x (?=\d)/g, "$1 × ");
  const bars = ({ level, before, is_limit }, letter, top, tall) => {
    const found = [made("rect", { class: `${is_limit ? "limit" : "left"} ${letter}`, x: 0, y: top, width: x(level).toFixed(1), height: tall })];
    if (before > level) found.push(made("rect", { class: "taken", x: x(level).toFixed(1), y: top, width: (x(before) - x(level)).toFixed(1), height: tall }));
    return found;
  };
  const table = document.createElement("table");
  const caption = table.createCaption();
  caption.textContent = `bars logarithmic, ${(10 ** low).toLocaleString("en")} to ${(10 ** high).toLocaleString("en")} photons or electrons in one sample, a tick a decade; W/m² as the photons they would bring it`;
  caption.append(document.createElement("br"), `filled: what is left; pale: what this step takes; empty: a limit${pinned ? "; A above and dashed, B below and solid" : ""}`);
  if (pinned) {
    const head = table.createTHead().insertRow();
    for (const text of ["", "A", "B", ""]) head.append(text ? Object.assign(document.createElement("th"), { scope: "col", textContent: text }) : document.createElement("td"));
  }
  const body = table.createTBody();
  for (const row of rows) {
    const line = body.insertRow();
    const other = others.get(row.label);
    const head = Object.assign(document.createElement("th"), { scope: "row", textContent: row.label });
    if (row.note) head.append(Object.assign(document.createElement("small"), { textContent: ` ${typeset(row.note)}` }));
    line.append(head);
    if (pinned) line.insertCell().textContent = other ? other.value : "";
    line.insertCell().textContent = row.value;
    const svg = made("svg", { viewBox: "0 0 1000 20", preserveAspectRatio: "none", "aria-hidden": "true" });
    for (let k = low; k <= high; k += 1) svg.append(made("path", { class: "grid", d: `M${x(10 ** k).toFixed(1)} 0v20` }));
    if (other) svg.append(...bars(other, "a", 2, 7));
    svg.append(...bars(row, "b", other ? 11 : 4, other ? 7 : 12));
    const cell = line.insertCell();
    cell.className = "length";
    cell.append(svg);
  }
  into.replaceChildren(table);
}
