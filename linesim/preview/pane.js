// One scan on the screen: tones, zoom, pan, scale bars and the cursor. All places are millimetres
// on the target, across from the optical axis and along from where line 0 looks.

const most_px = 32; // of the screen, for one sample

function encoded(share) {
  const value = Math.min(Math.max(share, 0), 1);
  return 255 * (value <= 0.0031308 ? 12.92 * value : 1.055 * value ** (1 / 2.4) - 0.055);
}

function roundLength(most) {
  const power = 10 ** Math.floor(Math.log10(most));
  return power * [5, 2, 1].find((each) => each * power <= most * (1 + 1e-9));
}

export class Pane {
  constructor(figure, acts) {
    this.figure = figure;
    this.canvas = figure.querySelector("canvas");
    this.meta = figure.querySelector(".meta");
    this.told = figure.querySelector(".told");
    this.acts = acts;
    this.sheet = document.createElement("canvas");
    this.seen = null;
    this.listen();
  }

  // Size of the glass on the page.
  get box() {
    const { clientWidth, clientHeight } = this.canvas.parentElement;
    return { width: Math.max(clientWidth, 1), height: Math.max(clientHeight, 1) };
  }

  get raster() {
    return this.seen && this.seen.raster;
  }

  // Pixels of the screen a millimetre, each way.
  scales(view, square) {
    const shape = this.raster;
    return { x: view.zoom, y: square && shape ? (view.zoom * shape.across_mm) / shape.along_mm : view.zoom };
  }

  window(view, square) {
    const { width, height } = this.box;
    const { x, y } = this.scales(view, square);
    return { left_mm: view.x - width / x / 2, top_mm: view.y - height / y / 2, width_mm: width / x, height_mm: height / y };
  }

  whole(square) {
    const { across_mm, along_mm, width, lines } = this.raster;
    const tall = square ? lines * across_mm : lines * along_mm;
    const zoom = Math.min(this.box.width / (width * across_mm), this.box.height / tall);
    return { x: 0, y: (lines * along_mm) / 2, zoom };
  }

  limits() {
    const { across_mm } = this.raster;
    return [Math.min(this.whole(false).zoom, this.whole(true).zoom) / 4, most_px / across_mm];
  }

  listen() {
    const { canvas, acts } = this;
    let grip = null;
    canvas.addEventListener("pointerdown", (event) => {
      canvas.setPointerCapture(event.pointerId);
      grip = { x: event.clientX, y: event.clientY };
      acts.point(this.at(event));
    });
    canvas.addEventListener("pointermove", (event) => {
      if (grip) {
        acts.pan(this, event.clientX - grip.x, event.clientY - grip.y);
        grip = { x: event.clientX, y: event.clientY };
      }
      acts.point(this.at(event));
    });
    for (const name of ["pointerup", "pointercancel"]) canvas.addEventListener(name, () => { grip = null; });
    canvas.addEventListener("wheel", (event) => {
      event.preventDefault();
      acts.zoom(1.0015 ** -event.deltaY, this.at(event));
    }, { passive: false });
    canvas.addEventListener("keydown", (event) => this.key(event));
  }

  key(event) {
    const steps = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    const step = steps[event.key];
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (step && event.shiftKey) this.acts.pan(this, -60 * step[0], -60 * step[1]);
    else if (step) this.acts.step(this, ...step);
    else if (event.key === "+" || event.key === "=") this.acts.zoom(1.25, null);
    else if (event.key === "-") this.acts.zoom(0.8, null);
    else if (event.key === "0") this.acts.whole();
    else return;
    event.preventDefault();
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

  // Samples to tones; again only where samples or range have changed.
  take(seen, tone) {
    this.seen = seen;
    this.tone(tone);
  }

  tone(tone) {
    const { image, picture } = this.seen;
    const { lines, columns, channels, black_dn, full_scale_dn } = picture;
    const top = tone === "own" ? this.brightest() : full_scale_dn;
    this.top_dn = top;
    const table = new Uint8ClampedArray(full_scale_dn + 1);
    for (let dn = 0; dn <= full_scale_dn; dn += 1) table[dn] = encoded((dn - black_dn) / Math.max(top - black_dn, 1));
    const data = new ImageData(columns, lines);
    const grey = channels === 1;
    for (let k = 0, to = 0; to < data.data.length; k += channels, to += 4) {
      data.data[to] = table[image[k]];
      data.data[to + 1] = table[image[grey ? k : k + 1]];
      data.data[to + 2] = table[image[grey ? k : k + 2]];
      data.data[to + 3] = 255;
    }
    this.sheet.width = columns;
    this.sheet.height = lines;
    this.sheet.getContext("2d").putImageData(data, 0, 0);
  }

  // All but a thousandth of the samples are darker.
  brightest() {
    const { image, picture } = this.seen;
    const counts = new Uint32Array(picture.full_scale_dn + 1);
    for (const dn of image) counts[dn] += 1;
    let left = image.length / 1000;
    let dn = picture.full_scale_dn;
    while (dn > picture.black_dn + 1 && left >= counts[dn]) {
      left -= counts[dn];
      dn -= 1;
    }
    return dn;
  }

  draw(view, square, cursor) {
    const { width, height } = this.box;
    const ratio = window.devicePixelRatio || 1;
    const [wide, tall] = [Math.round(width * ratio), Math.round(height * ratio)];
    if (this.canvas.width !== wide || this.canvas.height !== tall) Object.assign(this.canvas, { width: wide, height: tall });
    const brush = this.canvas.getContext("2d");
    brush.setTransform(1, 0, 0, 1, 0, 0);
    brush.fillStyle = "#c3c6ce";
    brush.fillRect(0, 0, wide, tall);
    if (!this.seen || !view) return;
    brush.setTransform(ratio, 0, 0, ratio, 0, 0);
    const { x, y } = this.scales(view, square);
    const { raster, picture } = this.seen;
    const toX = (mm) => width / 2 + (mm - view.x) * x;
    const toY = (mm) => height / 2 + (mm - view.y) * y;
    const left = toX(raster.left_mm + picture.first_column * raster.across_mm);
    const top = toY(picture.first_line * raster.along_mm);
    brush.imageSmoothingEnabled = false;
    brush.drawImage(this.sheet, left, top, picture.columns * picture.step * raster.across_mm * x, picture.lines * picture.step * raster.along_mm * y);
    this.bars(brush, x, y);
    if (cursor) this.cross(brush, toX(cursor.x), toY(cursor.y));
    this.caption(x);
  }

  bars(brush, x, y) {
    const { width, height } = this.box;
    const [wide, tall] = [roundLength((0.3 * width) / x), roundLength((0.3 * height) / y)];
    const lines = [[12, height - 14, wide * x, 0], [12, height - 14 - tall * y, 0, tall * y]];
    for (const [colour, thick] of [["#fff", 5], ["#17181c", 2]]) {
      brush.strokeStyle = colour;
      brush.lineWidth = thick;
      for (const [fromX, fromY, dx, dy] of lines) {
        brush.beginPath();
        brush.moveTo(fromX, fromY);
        brush.lineTo(fromX + dx, fromY + dy);
        brush.stroke();
      }
    }
    brush.font = "13px system-ui, sans-serif";
    const texts = [[`${wide} mm across`, 18, height - 22], [`${tall} mm along`, 18, height - 14 - tall * y + 12]];
    for (const [text, atX, atY] of texts) {
      brush.lineWidth = 4;
      brush.strokeStyle = "#fff";
      brush.strokeText(text, atX, atY);
      brush.fillStyle = "#17181c";
      brush.fillText(text, atX, atY);
    }
  }

  cross(brush, x, y) {
    const arms = [[-22, 0, -6, 0], [6, 0, 22, 0], [0, -22, 0, -6], [0, 6, 0, 22]];
    for (const [colour, thick] of [["#fff", 4], ["#005a8f", 1.5]]) {
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

  caption(x) {
    const { raster, picture } = this.seen;
    this.meta.textContent = `${raster.width} × ${raster.lines} samples, one ${(1000 * raster.across_mm).toPrecision(3)} × ${(1000 * raster.along_mm).toPrecision(3)} µm`;
    const size = x * raster.across_mm;
    this.told.textContent = `${picture.shown} A sample is ${size >= 10 ? size.toFixed(0) : size.toPrecision(2)} px wide on the screen; white is ${this.top_dn} DN, black ${picture.black_dn} DN.`;
  }

  // The sample under a place, if it is in the picture.
  sample(place) {
    if (!this.seen) return null;
    const { raster, picture, image, codes, largest_e } = this.seen;
    const column = Math.floor((place.x - raster.left_mm) / raster.across_mm);
    const line = Math.floor(place.y / raster.along_mm);
    const [across, along] = [Math.floor((column - picture.first_column) / picture.step), Math.floor((line - picture.first_line) / picture.step)];
    if (across < 0 || along < 0 || across >= picture.columns || along >= picture.lines) return null;
    const first = (along * picture.columns + across) * picture.channels;
    const each = Array.from({ length: picture.channels }, (_, k) => {
      const expected = largest_e * (codes[first + k] / 65535) ** 2;
      return { dn: image[first + k], expected, snr: expected / Math.sqrt(expected + picture.floor_e2[k]) };
    });
    return { line: picture.first_line + along * picture.step, column: picture.first_column + across * picture.step, each };
  }
}
