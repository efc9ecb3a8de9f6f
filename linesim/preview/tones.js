// From samples to greys: one scale for all pictures, and means over the area of a screen pixel.

const codes = 65536;

function encoded(share) {
  const value = Math.min(Math.max(share, 0), 1);
  return 255 * (value <= 0.0031308 ? 12.92 * value : 1.055 * value ** (1 / 2.4) - 0.055);
}

// How many samples have each number, and where all but a two-hundredth are darker.
export function counted(seen) {
  const { image, picture } = seen;
  const counts = new Uint32Array(codes);
  for (let k = 0; k < image.length; k += 1) counts[image[k]] += 1;
  let left = image.length / 200;
  let code = codes - 1;
  while (code > 0 && left >= counts[code]) {
    left -= counts[code];
    code -= 1;
  }
  return { counts, bright: shareOf(picture, code / picture.codes_per_dn) };
}

// A number as a share of what lies between black and full scale.
export const shareOf = ({ black_dn, full_scale_dn }, dn) => (dn - black_dn) / (full_scale_dn - black_dn);
export const dnOf = ({ black_dn, full_scale_dn }, share) => black_dn + share * (full_scale_dn - black_dn);

// SNR over the root of the expected electrons, straight between the points that were sent.
function snrAt({ top_e }, curve, expected) {
  const at = Math.min(Math.sqrt(Math.max(expected, 0) / top_e), 1) * (curve.length - 1);
  const k = Math.min(Math.floor(at), curve.length - 2);
  return curve[k] + (at - k) * (curve[k + 1] - curve[k]);
}

export const snrOf = ({ snr }, channel, expected) => snrAt(snr, snr.each[channel], expected);

// The SNR of each sample in place of its numbers; of colours that of the weakest.
function snrMap(seen) {
  if (!seen.codes) return null;
  const { picture, raster, codes: given, largest_e } = seen;
  const { channels, columns, lines } = picture;
  const highest = Math.max(Math.min(...picture.snr.each.map((curve) => Math.max(...curve))), 1e-6);
  const per_snr = (codes - 1) / highest;
  const tables = picture.snr.each.map((curve) => Float32Array.from({ length: codes }, (_, k) => per_snr * snrAt(picture.snr, curve, largest_e * (k / (codes - 1)) ** 2)));
  const image = new Uint16Array(lines * columns);
  for (let k = 0; k < image.length; k += 1) {
    let least = tables[0][given[k * channels]];
    for (let channel = 1; channel < channels; channel += 1) least = Math.min(least, tables[channel][given[k * channels + channel]]);
    image[k] = least + 0.5;
  }
  const wanted = picture.wanted_snr || 0;
  const map = { image, picture: { ...picture, channels: 1 }, highest, per_snr, wanted, under: null };
  if (wanted) map.under = shareUnder(map, raster);
  return map;
}

// Which share of the samples on the target are under what is wanted.
function shareUnder({ image, picture, wanted, per_snr }, { left_mm, across_mm, along_mm, target_mm }) {
  const [wide, tall] = target_mm ?? [Infinity, Infinity];
  let [under, all] = [0, 0];
  for (let line = 0; line < picture.lines; line += 1) {
    if ((picture.first_line + (line + 0.5) * picture.step) * along_mm > tall) break;
    for (let column = 0; column < picture.columns; column += 1) {
      if (Math.abs(left_mm + (picture.first_column + (column + 0.5) * picture.step) * across_mm) > wide / 2) continue;
      all += 1;
      if (image[line * picture.columns + column] < wanted * per_snr) under += 1;
    }
  }
  return all ? under / all : 0;
}

// Greys for the SNR: even steps of the screen's numbers from 0 up to twice what is wanted, or else
// to the highest, for A and B alike.
// What is under the wanted one is orange, and hatched for those who see or print no colour.
const tint = [230, 120, 0];
export class SnrScale {
  constructor() {
    this.white = 1;
  }

  get key() {
    return `snr ${this.white}`;
  }

  static of(seen) {
    seen.snr_map ??= snrMap(seen);
    return seen.snr_map;
  }

  choose(panes) {
    const maps = panes.map((pane) => SnrScale.of(pane.seen)).filter(Boolean);
    this.wanted = Math.max(0, ...maps.map((map) => map.wanted));
    const highest = Math.max(1e-6, ...maps.map((map) => map.highest));
    const step = 10 ** (Math.floor(Math.log10(highest)) - 1);
    this.white = this.wanted ? 2 * this.wanted : Number((Math.ceil(highest / step) * step).toPrecision(3));
    this.each = panes.filter((pane) => SnrScale.of(pane.seen)?.wanted).map((pane) => [pane.letter.toUpperCase(), SnrScale.of(pane.seen).wanted]);
  }

  words(two) {
    const same = new Set(this.each.map(([, wanted]) => wanted)).size === 1 && this.each.length === (two ? 2 : 1);
    const wanted = same ? `the wanted ${this.wanted}` : this.each.map(([letter, each]) => `the wanted ${each} of ${letter}`).join(", ");
    const under = wanted ? `; orange, hatched: under ${wanted}` : "; no SNR is wanted";
    return `${two ? "One SNR scale for A and B" : "SNR scale"}: black 0, white ${this.white}${this.wanted ? "" : " (the highest)"}${under}`;
  }

  sheet(seen) {
    const map = SnrScale.of(seen);
    if (!map) return null;
    const table = new Uint32Array(codes);
    const under = map.wanted * map.per_snr;
    for (let k = 0; k < codes; k += 1) {
      const tone = 255 * Math.min(k / map.per_snr / this.white, 1);
      const [r, g, b] = k < under ? tint.map((each) => Math.round(0.5 * tone + 0.5 * each)) : [tone, tone, tone].map(Math.round);
      table[k] = (0xff000000 | (b << 16) | (g << 8) | r) >>> 0;
    }
    return { seen: map, table, under };
  }
}

// What is shown as white, as a share of full scale, for A and B alike.
export class Scale {
  constructor() {
    this.white = 1;
    this.held = null;
  }

  get key() {
    return this.white;
  }

  sheet(seen) {
    return { seen, table: this.table(seen.picture), under: 0 };
  }

  // The automatic one stays while something moves, so that a change of light is seen as such.
  choose(mode, panes, moving) {
    const known = panes.filter((pane) => pane.seen);
    if (!known.length) return;
    const whites = new Map(known.map((pane) => [pane.letter, shareOf(pane.seen.picture, pane.seen.picture.white_dn)]));
    if (mode === "auto") {
      const bright = Math.max(...known.map((pane) => pane.counted.bright)) * 1.05;
      const fits = this.held && bright <= this.held * 1.02 && bright > this.held * 0.6;
      if (!this.held || (!moving && !fits)) this.held = Math.min(Math.max(bright, 1e-3), 1);
      this.white = this.held;
    } else {
      this.held = null;
      this.white = mode === "full" ? 1 : Math.min(Math.max(whites.get(mode) ?? whites.get("b") ?? 1, 1e-4), 1);
    }
  }

  words(mode, picture, two) {
    const name = { full: "full scale", a: "A's white", b: "B's white", auto: "automatic" }[mode];
    const white = dnOf(picture, this.white);
    const part = this.white < 0.995 ? `, ${Number((100 * this.white).toPrecision(2))} % of full scale` : "";
    return `${two ? "One grey scale for A and B" : "Grey scale"} (${name}): black ${Math.round(picture.black_dn)} DN, white ${Math.round(white)} DN${mode === "full" ? "" : part}`;
  }

  table(picture) {
    const table = new Uint8Array(codes);
    const low = picture.black_dn * picture.codes_per_dn;
    const step = 1 / (this.white * (picture.full_scale_dn - picture.black_dn) * picture.codes_per_dn);
    const end = Math.min(codes, (picture.full_scale_dn + 1) * picture.codes_per_dn);
    let k = 0;
    for (; k < end && (k - low) * step < 1; k += 1) table[k] = encoded((k - low) * step) + 0.5;
    table.fill(255, k);
    return table;
  }
}

// Which source samples lie under each screen pixel of one direction, and with which share.
function spans(start, size, scale, count) {
  const first = Math.max(0, Math.floor(start + 1e-6));
  const last = Math.min(size, Math.ceil(start + count * scale - 1e-6));
  const length = Math.max(last - first, 0);
  const [from, to] = [new Int32Array(length), new Int32Array(length)];
  const [head, tail] = [new Float32Array(length), new Float32Array(length)];
  for (let k = 0; k < length; k += 1) {
    const at = first + k;
    if (scale >= 1) {
      const one = Math.min(Math.max(Math.floor((at + 0.5 - start) / scale), 0), count - 1);
      [from[k], to[k], head[k], tail[k]] = [one, one, 1, 0];
    } else {
      const [a, b] = [Math.max((at - start) / scale, 0), Math.min((at + 1 - start) / scale, count)];
      from[k] = Math.min(Math.floor(a), count - 1);
      to[k] = Math.max(Math.min(Math.ceil(b) - 1, count - 1), from[k]);
      head[k] = to[k] === from[k] ? 1 : from[k] + 1 - a;
      tail[k] = to[k] === from[k] ? 0 : b - to[k];
    }
  }
  return { first, length, from, to, head, tail };
}

// The picture in pixels of the screen: where several samples share one it is their mean by area,
// in linear numbers; where a sample covers several it is a plain square.
// The table gives tones, or whole pixels; what is under a number is hatched.
const lined = 0xff10161c;
export function onScreen({ seen, table, under }, place, size) {
  const { image, picture } = seen;
  const { lines, columns, channels } = picture;
  const x = spans(place.left, size.width, place.x, columns);
  const y = spans(place.top, size.height, place.y, lines);
  if (!x.length || !y.length) return null;
  const data = new ImageData(x.length, y.length);
  const out = new Uint32Array(data.data.buffer);
  const [low, high] = [x.from[0] * channels, (x.to[x.length - 1] + 1) * channels];
  const sums = new Float32Array(columns * channels);
  const grey = channels === 1;
  const whole = table instanceof Uint32Array;
  for (let row = 0; row < y.length; row += 1) {
    const [a, b] = [y.from[row], y.to[row]];
    let total = 0;
    for (let line = a; line <= b; line += 1) {
      const share = line === a ? y.head[row] : line === b ? y.tail[row] : 1;
      const base = line * columns * channels;
      total += share;
      if (line === a) for (let k = low; k < high; k += 1) sums[k] = image[base + k] * share;
      else for (let k = low; k < high; k += 1) sums[k] += image[base + k] * share;
    }
    for (let column = 0; column < x.length; column += 1) {
      const [from, to, head, tail] = [x.from[column], x.to[column], x.head[column], x.tail[column]];
      const weight = total * (from === to ? 1 : head + tail + to - from - 1);
      let pixel = 0xff000000;
      for (let channel = 0; channel < channels; channel += 1) {
        let sum = sums[from * channels + channel] * (from === to ? 1 : head);
        for (let k = from + 1; k < to; k += 1) sum += sums[k * channels + channel];
        if (to > from) sum += sums[to * channels + channel] * tail;
        const value = (sum / weight + 0.5) | 0;
        const tone = table[value];
        if (whole) pixel = value < under && (x.first + column + y.first + row) % 8 === 0 ? lined : tone;
        else pixel |= grey ? tone * 0x010101 : tone << (8 * channel);
      }
      out[row * x.length + column] = pixel >>> 0;
    }
  }
  return { data, left: x.first, top: y.first };
}
