// The line under the cursor and the histogram, of A dashed and of B solid, with black, white and clip.

const space = "http://www.w3.org/2000/svg";
const bins = 128;

function made(name, attributes, text) {
  const node = document.createElementNS(space, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  if (text !== undefined) node.textContent = text;
  return node;
}

const path = (points) => points.map(([x, y], k) => `${k ? "L" : "M"}${x.toFixed(1)},${y.toFixed(1)}`).join("");

function sheet(into, label) {
  const [wide, tall] = [Math.max(into.clientWidth, 200), Math.max(into.clientHeight, 90)];
  const svg = made("svg", { viewBox: `0 0 ${wide} ${tall}`, role: "img", "aria-label": label, preserveAspectRatio: "none" });
  into.replaceChildren(svg);
  return { svg, left: 40, right: wide - 8, top: 16, bottom: tall - 18 };
}

// Levels that matter, as shares of full scale: only those in sight.
function levels(pane) {
  const { picture } = pane.seen;
  const share = (dn) => dn / picture.full_scale_dn;
  return [["black", share(picture.black_dn)], ["white", share(picture.white_dn)], ["clips", share(picture.clips_dn)]];
}

export function profile(into, panes, view, scales, cursor) {
  const b = panes[panes.length - 1];
  const at = { x: view.x, y: cursor && b.line(cursor) ? cursor.y : view.y };
  const { svg, left, right, top, bottom } = sheet(into, `Numbers along the line at ${at.y.toFixed(2)} mm, as percent of full scale`);
  const width_mm = b.box.width / scales.x;
  const x = (mm) => left + ((mm - view.x) / width_mm + 0.5) * (right - left);
  const lines = panes.map((pane) => [pane, pane.line(at)]);
  const shares = lines.flatMap(([pane, line]) => (line ? line.map(([, dn]) => dn / pane.seen.picture.full_scale_dn) : []));
  const most = shares.reduce((high, each) => Math.max(high, each), 0.004) * 1.15;
  const high = Math.min(most > 0.6 ? 1.02 : most, 1.02);
  const y = (share) => bottom - (Math.min(share, high) / high) * (bottom - top);
  for (const [name, share] of levels(b)) {
    if (share > high * 1.001 || share < 0) continue;
    svg.append(made("line", { class: `level ${name}`, x1: left, x2: right, y1: y(share), y2: y(share) }));
    svg.append(made("text", { x: right - 2, y: y(share) - 3, "text-anchor": "end" }, name));
  }
  for (const share of [0, high / 2, high]) svg.append(made("text", { x: left - 4, y: y(share) + 4, "text-anchor": "end" }, `${Number((100 * share).toPrecision(2))} %`));
  for (const [pane, line] of lines) {
    if (!line) continue;
    const seen = line.filter(([mm]) => x(mm) >= left && x(mm) <= right);
    const some = Math.max(1, Math.floor(seen.length / (right - left)));
    const points = seen.filter((_, k) => k % some === 0).map(([mm, dn]) => [x(mm), y(dn / pane.seen.picture.full_scale_dn)]);
    if (points.length) svg.append(made("path", { class: `trace ${pane.letter}`, d: path(points) }));
  }
  if (cursor && x(cursor.x) >= left && x(cursor.x) <= right) svg.append(made("line", { class: "mark", x1: x(cursor.x), x2: x(cursor.x), y1: top, y2: bottom }));
  svg.append(made("text", { x: left, y: 11 }, `line at ${at.y.toFixed(2)} mm${some_words(lines)}`));
}

const some_words = (lines) => (lines.some(([pane]) => pane.seen.picture.step > 1) ? ", of the samples in the picture" : "");

export function histogram(into, panes) {
  const { svg, left, right, top, bottom } = sheet(into, "How many samples have each number, on a logarithmic scale");
  const all = panes.map((pane) => {
    const { picture, image } = pane.seen;
    const sums = new Float64Array(bins);
    const end = (picture.full_scale_dn + 1) * picture.codes_per_dn;
    pane.counted.counts.forEach((count, code) => { if (count) sums[Math.min(Math.floor((code / end) * bins), bins - 1)] += count / image.length; });
    return [pane, sums];
  });
  const low = 1e-5;
  const x = (share) => left + share * (right - left);
  const y = (share) => bottom - (Math.log10(Math.max(share, low) / low) / 5) * (bottom - top);
  for (const [name, share] of levels(panes[panes.length - 1])) {
    if (share > 1.001 || share < 0) continue;
    const at = x(Math.min(share, 1));
    svg.append(made("line", { class: `level ${name}`, x1: at, x2: at, y1: top, y2: bottom }));
    svg.append(made("text", { x: at + (share > 0.8 ? -3 : 3), y: top - 4, "text-anchor": share > 0.8 ? "end" : "start" }, name));
  }
  for (const [pane, sums] of all) {
    const points = [...sums].flatMap((share, k) => [[x(k / bins), y(share)], [x((k + 1) / bins), y(share)]]);
    svg.append(made("path", { class: `trace ${pane.letter}`, d: path(points) }));
  }
  for (const share of [0, 0.5, 1]) svg.append(made("text", { x: x(share), y: bottom + 14, "text-anchor": share === 1 ? "end" : share ? "middle" : "start" }, `${100 * share} %`));
  svg.append(made("text", { x: left - 4, y: y(1) + 4, "text-anchor": "end" }, "all"), made("text", { x: left - 4, y: y(low) + 4, "text-anchor": "end" }, "10⁻⁵"));
}
