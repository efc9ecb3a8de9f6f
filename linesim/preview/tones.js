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

// What is shown as white, as a share of full scale, for A and B alike.
export class Scale {
  constructor() {
    this.white = 1;
    this.held = null;
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
export function onScreen(seen, place, size, table) {
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
        const tone = table[(sum / weight + 0.5) | 0];
        pixel |= grey ? tone * 0x010101 : tone << (8 * channel);
      }
      out[row * x.length + column] = pixel >>> 0;
    }
  }
  return { data, left: x.first, top: y.first };
}
