// One scan on the screen: tones, zoom, pan, scale bars, defects and the cursor. All places are
// millimetres on the target, across from the optical axis and along from where line 0 looks.

import { handle } from "./hands.js";
import { counted, onScreen, snrOf } from "./tones.js";

const most_px = 32; // of the screen, for one sample
const around = "#2b2b2b";

function roundLength(most) {
  const power = 10 ** Math.floor(Math.log10(most));
  return power * [5, 2, 1].find((each) => each * power <= most * (1 + 1e-9));
}

function hatch(ratio) {
  const side = Math.round(9 * ratio);
  const sheet = Object.assign(document.createElement("canvas"), { width: side, height: side });
  const brush = sheet.getContext("2d");
  brush.fillStyle = "#3a3a3a";
  brush.fillRect(0, 0, side, side);
  brush.strokeStyle = "#5c5c5c";
  brush.lineWidth = Math.max(1, ratio);
  brush.beginPath();
  for (const shift of [-side, 0, side]) {
    brush.moveTo(shift, side);
    brush.lineTo(shift + side, 0);
  }
  brush.stroke();
  return sheet;
}

export class Pane {
  constructor(letter, figure, acts) {
    this.letter = letter;
    this.figure = figure;
    this.canvas = figure.querySelector("canvas");
    this.meta = figure.querySelector(".meta");
    this.told = figure.querySelector(".told");
    this.acts = acts;
    this.seen = null;
    this.sheet = null;
    this.drawn = null;
    this.paper = null; // size of the picture alone, while it is printed
    handle(this, acts);
  }

  // Size of the glass on the page.
  get box() {
    if (this.paper) return this.paper;
    const { clientWidth, clientHeight } = this.canvas.parentElement;
    return { width: Math.max(clientWidth, 1), height: Math.max(clientHeight, 1) };
  }

  // Whether it has any size: while a page is laid out anew it may have none.
  get seeable() {
    return this.box.width > 40 && this.box.height > 40;
  }

  get raster() {
    return this.seen && this.seen.raster;
  }

  // Pixels of the page a millimetre, each way.
  scales(view, square) {
    const shape = this.raster;
    return { x: view.zoom, y: square && shape ? (view.zoom * shape.across_mm) / shape.along_mm : view.zoom };
  }

  window(view, square) {
    const { width, height } = this.box;
    const { x, y } = this.scales(view, square);
    return { left_mm: view.x - width / x / 2, top_mm: view.y - height / y / 2, width_mm: width / x, height_mm: height / y };
  }

  // A view of all of the scan, or of what of it the target fills, with a little around.
  whole(square, target = false) {
    const [wide, tall] = this.extent(target);
    const zoom = Math.min(this.box.width / wide, this.box.height / (square ? (tall * this.raster.across_mm) / this.raster.along_mm : tall));
    return { x: 0, y: tall / 2, zoom };
  }

  // Its sides in millimetres.
  extent(target) {
    const { across_mm, along_mm, width, lines, target_mm } = this.raster;
    const [wide, tall] = [width * across_mm, lines * along_mm];
    return target && target_mm ? [Math.min(wide, target_mm[0] * 1.06), Math.min(tall, target_mm[1] * 1.03)] : [wide, tall];
  }

  // The room that such a view leaves around the picture is not printed.
  cut(view, square, target) {
    const [[wide, tall], { x, y }] = [this.extent(target), this.scales(view, square)];
    this.paper = { width: Math.min(wide * x, this.box.width), height: Math.min(tall * y, this.box.height) };
  }

  // One sample on one pixel of the screen, however many of these a pixel of the page has.
  single() {
    return 1 / (this.raster.across_mm * (window.devicePixelRatio || 1));
  }

  limits() {
    const { across_mm } = this.raster;
    return [Math.min(this.whole(false).zoom, this.whole(true).zoom) / 4, most_px / across_mm];
  }

  at(event) {
    const { view, square } = this.acts.where();
    const box = this.canvas.getBoundingClientRect();
    const { x, y } = this.scales(view, square);
    return {
      x: view.x + (event.clientX - box.left - box.width / 2) / x,
      y: view.y + (event.clientY - box.top - box.height / 2) / y,
    };
  }

  take(seen) {
    this.seen = seen;
    this.counted = counted(seen);
    this.sheet = null;
  }

  tone(scale) {
    if (this.sheet && this.toned === scale.key) return;
    this.toned = scale.key;
    this.sheet = scale.sheet(this.seen);
    this.drawn = null;
  }

  draw(view, square, cursor, marks) {
    const { width, height } = this.box;
    const ratio = window.devicePixelRatio || 1;
    const [wide, tall] = [Math.round(width * ratio), Math.round(height * ratio)];
    if (this.canvas.width !== wide || this.canvas.height !== tall) Object.assign(this.canvas, { width: wide, height: tall });
    const brush = this.canvas.getContext("2d");
    brush.setTransform(1, 0, 0, 1, 0, 0);
    brush.fillStyle = around;
    brush.fillRect(0, 0, wide, tall);
    if (!this.seen || !view || !this.sheet) return;
    const { x, y } = this.scales(view, square);
    const { raster } = this.seen;
    const toX = (mm) => width / 2 + (mm - view.x) * x;
    const toY = (mm) => height / 2 + (mm - view.y) * y;
    this.picture(brush, { toX, toY, x, y, ratio }, { width: wide, height: tall });
    brush.setTransform(ratio, 0, 0, ratio, 0, 0);
    this.beyond(brush, raster, { toX, toY, ratio });
    this.caption(x * ratio * raster.across_mm);
    this.bars(brush, x, y);
    this.faults(brush, { x, y }, marks);
    if (marks) this.rings(brush, { toX, toY, x });
    if (cursor) this.cross(brush, toX(cursor.x), toY(cursor.y));
  }

  picture(brush, { toX, toY, x, y, ratio }, size) {
    const { raster, picture } = this.seen;
    const place = {
      left: toX(raster.left_mm + picture.first_column * raster.across_mm) * ratio,
      top: toY(picture.first_line * raster.along_mm) * ratio,
      x: picture.step * raster.across_mm * x * ratio,
      y: picture.step * raster.along_mm * y * ratio,
    };
    const key = JSON.stringify([place, size]);
    if (!this.drawn || this.drawn.key !== key) this.drawn = { key, ...onScreen(this.sheet, place, size) };
    if (!this.drawn.data) return;
    const [right, bottom] = [toX(raster.left_mm + raster.width * raster.across_mm) * ratio, toY(raster.lines * raster.along_mm) * ratio];
    const { data, left, top } = this.drawn;
    // squares at the far ends hold what is left of the scan, and end with it
    const [wide, tall] = [Math.min(data.width, Math.ceil(right - 1e-6) - left), Math.min(data.height, Math.ceil(bottom - 1e-6) - top)];
    if (wide > 0 && tall > 0) brush.putImageData(data, left, top, 0, 0, wide, tall);
  }

  // Where the target has ended there is nothing to scan: the place is hatched.
  beyond(brush, raster, { toX, toY, ratio }) {
    if (!raster.target_mm) return;
    const [wide_mm, tall_mm] = raster.target_mm;
    const [left, right] = [raster.left_mm, raster.left_mm + raster.width * raster.across_mm];
    const bottom = raster.lines * raster.along_mm;
    const least = { x: raster.across_mm / 2, y: raster.along_mm / 2 };
    const parts = [];
    if (-wide_mm / 2 > left + least.x) parts.push([left, 0, -wide_mm / 2, bottom], [wide_mm / 2, 0, right, bottom]);
    if (tall_mm < bottom - least.y) parts.push([left, tall_mm, right, bottom]);
    if (!parts.length) return;
    const pattern = brush.createPattern(hatch(ratio), "repeat");
    pattern.setTransform(new DOMMatrix([1 / ratio, 0, 0, 1 / ratio, 0, 0]));
    brush.fillStyle = pattern;
    // over whole pixels of the screen, as the picture is
    const snapped = (value, way) => Math[way](value * ratio) / ratio;
    for (const [a, b, c, d] of parts) {
      const [x0, y0, x1, y1] = [snapped(toX(a), "floor"), snapped(toY(b), "floor"), snapped(toX(c), "ceil"), snapped(toY(d), "ceil")];
      brush.fillRect(x0, y0, x1 - x0, y1 - y0);
    }
  }

  // How much of the glass the line of words under it lies over.
  get covered() {
    const glass = this.canvas.parentElement;
    return this.paper ? 0 : Math.max(0, glass.offsetTop + glass.offsetHeight - this.told.offsetTop);
  }

  bars(brush, x, y) {
    const { width, height } = this.box;
    const low = height - Math.max(40, this.covered + 22);
    const [wide, tall] = [roundLength((0.22 * width) / x), roundLength((0.22 * height) / y)];
    const lines = [[14, low, wide * x, 0], [14, low - tall * y, 0, tall * y]];
    for (const [colour, thick] of [["#111", 6], ["#fff", 2.5]]) {
      brush.strokeStyle = colour;
      brush.lineWidth = thick;
      for (const [fromX, fromY, dx, dy] of lines) {
        brush.beginPath();
        brush.moveTo(fromX, fromY);
        brush.lineTo(fromX + dx, fromY + dy);
        brush.stroke();
      }
    }
    this.written(brush, `${wide} mm across`, 20, low - 8);
    this.written(brush, `${tall} mm along`, 20, low - tall * y + 12);
  }

  written(brush, text, x, y, colour = "#fff") {
    brush.font = "600 13px system-ui, sans-serif";
    brush.lineWidth = 4;
    brush.strokeStyle = "#111";
    brush.lineJoin = "round";
    brush.strokeText(text, x, y);
    brush.fillStyle = colour;
    brush.fillText(text, x, y);
  }

  // The defect that must be found, and the smallest disc that is: as outlines, to scale.
  faults(brush, { x, y }, marks) {
    const { defects } = this.seen;
    if (!marks || !defects) return;
    const least = 1.5;
    const plans = [];
    if (defects.asked_um) plans.push({ sides: defects.asked_um, disc: defects.shape === "disc", text: "asked", dash: [] });
    if (defects.found_um) plans.push({ sides: [defects.found_um, defects.found_um], disc: true, text: "found from", dash: [4, 3] });
    let top = this.box.width > 400 ? 46 : 62; // words about the grey scale stand above
    for (const { sides, disc, text, dash } of plans) {
      const [a, b] = [(sides[0] / 1000) * x, (sides[1] / 1000) * y];
      const [wide, tall] = [Math.max(a, least), Math.max(b, least)];
      const centre = { x: 18 + Math.max(wide, 12) / 2, y: top + Math.max(tall, 14) / 2 };
      for (const [colour, thick] of [["#111", 4], ["#ffd84d", 2]]) {
        brush.strokeStyle = colour;
        brush.lineWidth = thick;
        brush.setLineDash(dash);
        brush.beginPath();
        if (disc) brush.ellipse(centre.x, centre.y, wide / 2, tall / 2, 0, 0, 2 * Math.PI);
        else brush.rect(centre.x - wide / 2, centre.y - tall / 2, wide, tall);
        brush.stroke();
      }
      brush.setLineDash([]);
      const size = [...new Set(sides.map((each) => (each >= 1000 ? `${Number((each / 1000).toPrecision(3))} mm` : `${Number(each.toPrecision(3))} µm`)))].join(" × ");
      this.written(brush, `${text} ${size}${this.box.width > 400 ? ", to scale" : ""}`, centre.x + Math.max(wide, 12) / 2 + 8, centre.y + 5, "#ffd84d");
      top = centre.y + Math.max(tall, 14) / 2 + 8;
    }
  }

  // Where defects were put in, so that an eye knows where to look: rings of four times their size.
  rings(brush, { toX, toY, x }) {
    const { put_in: places, defects } = this.seen;
    if (!places || !places.length || !defects.asked_um) return;
    const radius = Math.max((2 * defects.asked_um[0] * x) / 1000, 9);
    for (const [colour, thick] of [["#111", 3], ["#ffd84d", 1.5]]) {
      brush.strokeStyle = colour;
      brush.lineWidth = thick;
      for (const [across, along] of places) {
        brush.beginPath();
        brush.arc(toX(across), toY(along), radius, 0, 2 * Math.PI);
        brush.stroke();
      }
    }
  }

  cross(brush, x, y) {
    const arms = [[-22, 0, -6, 0], [6, 0, 22, 0], [0, -22, 0, -6], [0, 6, 0, 22]];
    for (const [colour, thick] of [["#111", 4], ["#7fd0ff", 1.5]]) {
      brush.strokeStyle = colour;
      brush.lineWidth = thick;
      for (const [fromX, fromY, toX, toY] of arms) {
        brush.beginPath();
        brush.moveTo(x + fromX, y + fromY);
        brush.lineTo(x + toX, y + toY);
        brush.stroke();
      }
    }
  }

  caption(size) {
    const { raster, picture } = this.seen;
    this.meta.textContent = `${raster.width} × ${raster.lines} samples of ${(1000 * raster.across_mm).toPrecision(3)} × ${(1000 * raster.along_mm).toPrecision(3)} µm`;
    const map = this.sheet.seen === this.seen ? null : this.sheet.seen;
    const shown = map ? `SNR of ${picture.step > 1 ? `one sample at each place of ${picture.step} × ${picture.step}` : "each sample"}, from the electrons expected there${picture.channels > 1 ? ", in its weakest colour" : ""}` : picture.shown.replace(/ x /g, " × ");
    const one = Math.abs(size - 1) < 1e-3;
    const part = one ? "1:1" : Number(size.toPrecision(2)) === 1 ? "nearly 1:1" : size < 1 ? `at ${Number((100 * size).toPrecision(2))} %` : `${Number(size.toPrecision(2))} times as large`;
    const mean = size * picture.step < 0.999 ? "; each screen pixel is the mean of the samples under it" : "";
    const under = map && map.wanted ? `; ${Number((100 * map.under).toPrecision(2))} % of those in view are under ${map.wanted}` : "";
    const why = this.seen.coarse ? "While it moves: " : "";
    this.told.textContent = `${why}${shown}, shown ${part}${mean}${under}.`;
  }

  // The sample under a place, if it is in the picture.
  sample(place) {
    if (!this.seen || !this.seen.codes) return null;
    const { raster, picture, image, codes, largest_e } = this.seen;
    const column = Math.floor((place.x - raster.left_mm) / raster.across_mm);
    const line = Math.floor(place.y / raster.along_mm);
    const [across, along] = [Math.floor((column - picture.first_column) / picture.step), Math.floor((line - picture.first_line) / picture.step)];
    if (across < 0 || along < 0 || across >= picture.columns || along >= picture.lines) return null;
    const first = (along * picture.columns + across) * picture.channels;
    const each = Array.from({ length: picture.channels }, (_, k) => {
      const expected = largest_e * (codes[first + k] / 65535) ** 2;
      return { dn: Number((image[first + k] / picture.codes_per_dn).toFixed(2)), expected, snr: snrOf(picture, k, expected) };
    });
    return { line: picture.first_line + along * picture.step, column: picture.first_column + across * picture.step, each };
  }

  // Numbers of the line under a place, as shares of full scale over millimetres across.
  line(place) {
    if (!this.seen) return null;
    const { raster, picture, image } = this.seen;
    const along = Math.floor((Math.floor(place.y / raster.along_mm) - picture.first_line) / picture.step);
    if (along < 0 || along >= picture.lines) return null;
    const first = along * picture.columns * picture.channels;
    const middle = picture.channels === 3 ? 1 : 0;
    return Array.from({ length: picture.columns }, (_, k) => [
      raster.left_mm + (picture.first_column + (k + 0.5) * picture.step) * raster.across_mm,
      image[first + k * picture.channels + middle] / picture.codes_per_dn,
    ]);
  }
}
