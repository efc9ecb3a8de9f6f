// Small charts as inline SVG. Lines are told apart by dashes and by the names at their ends.

const space = "http://www.w3.org/2000/svg";
const wide = 340;
const tall = 230;
const frame = { left: 46, right: 96, top: 8, bottom: 40 };
const looks = [["#17181c", ""], ["#005a8f", ""], ["#a33c00", "7 3"], ["#4d6b00", "2 3"], ["#7a3b8f", "9 3 2 3"], ["#0b6b63", "4 2"]];

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
  const over = names.length ? names[names.length - 1].y - (tall - frame.bottom + 4) : 0;
  if (over > 0) for (let k = names.length - 1; k >= 0; k -= 1) names[k].y = Math.min(names[k].y, tall - frame.bottom + 4 - gap * (names.length - 1 - k));
  return names;
}

function chart(into, plan) {
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
  for (const { at, name } of plan.marks) {
    if (at < plan.x[0] || at > plan.x[1]) continue;
    svg.append(made("line", { class: "mark", x1: x(at), x2: x(at), y1: frame.top, y2: tall - frame.bottom }));
    svg.append(made("text", { class: "marked", x: x(at) - 3, y: frame.top + 9, "text-anchor": "end" }, name));
  }
  const names = [];
  plan.curves.forEach(({ name, values }, k) => {
    const [colour, dashes] = looks[k % looks.length];
    const points = plan.at.map((at, j) => [x(at), y(Math.max(values[j], plan.log ? plan.y[0] : 0))]).filter(([, each]) => Number.isFinite(each));
    if (!points.length || (plan.log && Math.max(...values) < plan.y[0])) return;
    svg.append(made("path", { d: path(points), fill: "none", stroke: colour, "stroke-width": k ? 1.6 : 2.4, "stroke-dasharray": dashes }));
    names.push({ name, colour, y: points[points.length - 1][1] + 4 });
  });
  for (const each of apart(names)) svg.append(made("text", { x: wide - frame.right + 5, y: each.y, fill: each.colour, class: "name" }, each.name));
  svg.append(made("text", { x: (frame.left + wide - frame.right) / 2, y: tall - 8, "text-anchor": "middle" }, plan.across));
  into.replaceChildren(svg);
}

export function noiseChart(into, data) {
  const top = Math.max(...data.total_e);
  const low = 0.1;
  chart(into, {
    label: "Noise in electrons by source, over the signal in electrons",
    log: true,
    x: [data.signal_e[0], data.signal_e[data.signal_e.length - 1]],
    y: [low, Math.max(10 ** Math.ceil(Math.log10(top)), 10)],
    at: data.signal_e,
    curves: [{ name: "all noise", values: data.total_e }, ...Object.entries(data.sources).map(([name, values]) => ({ name, values }))],
    marks: [{ at: data.white_e, name: "white" }],
    across: "signal, electrons (noise in electrons)",
  });
}

export function mtfChart(into, data) {
  const at = data.frequency_lp_mm;
  const marks = [{ at: data.nyquist_x_lp_mm, name: "Nyquist across" }, { at: data.nyquist_y_lp_mm, name: "along" }];
  const same = Math.abs(data.nyquist_x_lp_mm / data.nyquist_y_lp_mm - 1) < 0.02;
  chart(into, {
    label: "Transfer over frequency on the target",
    log: false,
    x: [0, at[at.length - 1]],
    y: [0, 1],
    at,
    curves: Object.entries(data.curves).map(([name, values]) => ({ name, values })),
    marks: same ? [{ ...marks[0], name: "Nyquist" }] : marks,
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
