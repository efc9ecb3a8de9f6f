// The page: state in the middle, questions out, answers in.

import { lightChart, mtfChart, noiseChart, sideView } from "./charts.js";
import { Controls } from "./controls.js";
import { cautions, figures, outcome, readings, verdicts } from "./figures.js";
import { Beside } from "./beside.js";
import { Pane } from "./pane.js";
import { Past, fresh, fromFragment, toFragment } from "./state.js";
import { Scale, SnrScale } from "./tones.js";
import { histogram, profile } from "./traces.js";
import { Looker, ask, send } from "./wire.js";

const one = (id) => document.getElementById(id);
const past = new Past();
let state = fromFragment(location.hash);
let start = null;
let controls = null;
let cursor = null;
let written = location.hash;
let moving = false;
let fitted = state.view ? null : "target"; // what is all in view, however large the window: that, "scan" or nothing
let resting = null;
let marking = 0;
const answers = { a: null, b: null };
const scale = new Scale();
const ratios = new SnrScale();
const pause = 140; // ms without a move, from which on the exact picture is asked for

const acts = {
  where: () => ({ view: state.view ?? { x: 0, y: 0, zoom: 1 }, square: state.square }),
  point: (place) => { cursor = place; paint(); },
  pan: (pane, dx, dy) => {
    const { x, y } = pane.scales(state.view, state.square);
    moved({ ...state.view, x: state.view.x - dx / x, y: state.view.y - dy / y });
  },
  zoom: (factor, about) => {
    const [low, high] = panes.b.limits();
    const zoom = Math.min(Math.max(state.view.zoom * factor, low), high);
    const centre = about ?? state.view;
    const share = 1 - state.view.zoom / zoom;
    moved({ x: state.view.x + (centre.x - state.view.x) * share, y: state.view.y + (centre.y - state.view.y) * share, zoom });
  },
  fit: (what) => { if (panes.b.raster && panes.b.seeable) moved(panes.b.whole(state.square, what === "target"), what); },
  whole: () => acts.fit("scan"),
  step: (pane, across, along) => {
    if (!pane.raster) return;
    const from = cursor ?? { x: state.view.x, y: state.view.y };
    const { raster } = pane;
    cursor = { x: from.x + across * raster.across_mm, y: from.y + along * raster.along_mm };
    paint();
  },
  set: (key, value) => change(key, () => put(key, value)),
  slide,
  rest,
  beside: (mode) => { state.beside = mode; arrange(); paint(); keep(); requestAnimationFrame(() => (fitted ? acts.fit(fitted) : lookAll())); },
  putIn: (on) => { state.putIn = on; lookAll(); keep(); },
  seed: (value) => change("seed", () => { state.seed = value ?? state.seed + 1; }),
  upload,
};

const panes = { a: new Pane("a", one("pane-a"), acts), b: new Pane("b", one("pane-b"), acts) };
const beside = new Beside(one, acts);
const lookers = {
  a: new Looker("a", (answer) => seen("a", answer), failed),
  b: new Looker("b", (answer) => seen("b", answer), failed),
};

function put(key, value) {
  if (value === undefined) delete state.changes[key];
  else state.changes[key] = value;
  if (key === "target") delete state.changes["target.pixel_size"];
}

// While a slider moves quick pictures follow it; the exact one comes once it rests or is let go.
function slide(key, value) {
  if (!moving) one("notice").textContent = "";
  past.note(state, key);
  put(key, value);
  moving = true;
  marking += 1;
  controls.show(state, null);
  one("undo").disabled = false;
  lookers.b.glance(question("b"));
  clearTimeout(resting);
  resting = setTimeout(rest, pause);
}

function rest() {
  clearTimeout(resting);
  resting = null;
  if (!moving) return;
  moving = false;
  renewed();
}

// A question of a pane: what it is changed to, and where one looks.
function question(letter) {
  const window = state.view && panes[letter].box.width > 1 ? panes[letter].window(state.view, state.square) : null;
  return { changes: letter === "a" ? state.pinned : state.changes, seed: state.seed, window, put_in: state.putIn };
}

function look(letter) {
  if (letter === "b" || state.pinned) lookers[letter].look(question(letter));
}

function lookAll() {
  look("b");
  look("a");
}

const shown = () => Object.values(panes).filter((pane) => pane.letter === "b" || state.pinned);

function retone() {
  const known = shown().filter((pane) => pane.seen);
  const snr = state.show === "snr";
  if (snr) ratios.choose(known);
  else scale.choose(state.tone, known, moving);
  for (const pane of known) pane.tone(snr ? ratios : scale);
}

function seen(letter, answer) {
  if (letter === "b") told(answer);
  if (answer.faults) return;
  if (answer.waiting && !answer.figures) return;
  if (letter === "a" && !state.pinned) return;
  answers[letter] = answer.waiting || answer.coarse ? { ...answers[letter], ...answer } : answer;
  if (answer.picture) {
    panes[letter].take(answer);
    retone();
    // of use where samples are not square on the target
    one("square").parentElement.hidden = shown().every(({ raster }) => !raster || Math.abs(raster.across_mm / raster.along_mm - 1) < 1e-3);
    refit(letter, answer.coarse);
  }
  if (answer.coarse) outcome(one("outcome"), answers.b, state.pinned ? answers.a : null);
  else words();
  paint();
  if (letter === "b" && answer.picture && !answer.coarse) mark();
}

// Where the whole scan is looked at, it stays whole, also where it has another size now.
function refit(letter, coarse) {
  if (!panes[letter].seeable || (state.view && (!fitted || letter === "a"))) return;
  const whole = panes[letter].whole(state.square, fitted === "target");
  const off = state.view && ["x", "y", "zoom"].some((name) => Math.abs(whole[name] - state.view[name]) > 1e-3 * (1 + Math.abs(whole[name])));
  if (state.view && !off) return;
  if (coarse) state.view = whole;
  else moved(whole, fitted ?? "target");
}

// Marks along the sliders follow once all rests; they are worked out one after the other.
async function mark() {
  marking += 1;
  const mine = marking;
  const stale = () => mine !== marking || moving || !lookers.b.idle;
  const calm = () => new Promise((done) => setTimeout(done, 700));
  await calm();
  for (const key of controls.marked) {
    const changes = { ...state.changes };
    delete changes[key];
    const known = JSON.stringify([key, changes]);
    if (marks.get(key)?.known === known) continue;
    try {
      let found = { late: true };
      while (found.late) {
        if (stale()) return;
        found = await ask("marks", { key, changes });
        if (found.late) await calm(); // a picture went first
      }
      if (mine !== marking) return;
      marks.set(key, { known, found: found.faults ? null : found });
      controls.mark(key, found.faults ? null : found);
    } catch (fault) {
      failed(fault);
      return;
    }
  }
}

// What is marked holds for all other values as they were; of the slider that moves it stays true.
const marks = new Map();
function unmark() {
  for (const [key, { known }] of marks) {
    const changes = { ...state.changes };
    delete changes[key];
    if (JSON.stringify([key, changes]) === known) continue;
    marks.delete(key);
    controls.mark(key, null);
  }
}

// An answer takes back what an answer has said; what else is told stays until something is moved.
const drawing = "The target is being drawn …";
let refused = false;
function told(answer) {
  const faults = answer.faults ?? [];
  if (faults.length || refused) one("faults").textContent = faults.join("\n");
  refused = Boolean(faults.length);
  document.body.classList.toggle("refused", refused);
  if (answer.waiting) one("notice").textContent = drawing;
  else if (one("notice").textContent === drawing) one("notice").textContent = "";
}

function failed(fault) {
  refused = true;
  one("faults").textContent = `No answer from linesim: ${fault.message}. Is it still running?`;
}

function words() {
  const [b, a] = [answers.b, state.pinned ? answers.a : null];
  controls.show(state, b);
  if (!b) return;
  outcome(one("outcome"), b, a);
  verdicts(one("verdicts"), b, a);
  cautions(one("cautions"), b, a);
  figures(one("figures"), b, a);
  lightChart(one("light-chart"), b.light, a && a.light);
  noiseChart(one("noise-chart"), b.noise, a && a.noise);
  mtfChart(one("mtf-chart"), b.mtf, a && a.mtf);
  sideView(one("side-card"), b.side);
}

let waiting = false;
function paint() {
  if (waiting) return;
  waiting = true;
  requestAnimationFrame(() => {
    waiting = false;
    const all = shown();
    for (const pane of all) pane.draw(state.view, state.square, cursor, one("marks").checked);
    readings(one("readings"), all.map((pane) => [pane.letter.toUpperCase(), pane]), cursor);
    one("place").textContent = cursor ? `${cursor.x.toFixed(2)} mm across from the axis, ${cursor.y.toFixed(2)} mm along` : "put it on a scan";
    const known = all.filter((pane) => pane.seen);
    if (!known.length || !state.view) return;
    const words = state.show === "snr" ? ratios.words(all.length > 1) : scale.words(state.tone, panes.b.seen ? panes.b.seen.picture : known[0].seen.picture, all.length > 1);
    if (one("scale").textContent !== words) one("scale").textContent = words;
    if (moving) return;
    profile(one("profile"), known, state.view, panes.b.scales(state.view, state.square), cursor);
    if (counted !== known.map((pane) => pane.seen.number).join()) {
      counted = known.map((pane) => pane.seen.number).join();
      histogram(one("histogram"), known);
    }
  });
}
let counted = null;

// Drawn at once, for the browser does not wait.
function printed(on) {
  for (const pane of shown().filter((each) => each.seen && state.view)) {
    pane.paper = null;
    if (on && fitted) pane.cut(state.view, state.square, fitted === "target");
    pane.draw(state.view, state.square, cursor, one("marks").checked);
  }
}

function moved(view, whole = null) {
  state.view = view;
  fitted = whole;
  paint();
  lookAll();
  keep();
}

function change(what, act) {
  one("notice").textContent = one("faults").textContent = "";
  past.note(state, what);
  act();
  renewed();
}

function renewed() {
  moving = false;
  clearTimeout(resting);
  marking += 1;
  controls.show(state, null);
  unmark();
  arrange();
  lookAll();
  keep();
}

function arrange() {
  beside.set(state.beside, Boolean(state.pinned));
  one("pin").textContent = state.pinned ? "Unpin A" : "Pin as A";
  one("back").disabled = !state.pinned;
  one("undo").disabled = !past.before.length;
  one("redo").disabled = !past.after.length;
  one("show").value = state.show;
  one("tone").disabled = state.show === "snr";
  one("tone").value = state.tone;
  for (const each of one("tone").options) each.disabled = each.value === "a" && !state.pinned;
  one("square").checked = state.square;
}

let later = null;
function keep() {
  clearTimeout(later);
  later = setTimeout(() => {
    written = `#${toFragment(fitted ? { ...state, view: null } : state)}`;
    history.replaceState(null, "", written);
  }, 150);
}

function pin() {
  change("pin", () => {
    state.pinned = state.pinned ? null : { ...state.changes };
    answers.a = state.pinned ? answers.b : null;
    lookers.a.forget();
    if (state.pinned && panes.b.seen) panes.a.take(panes.b.seen);
    if (!state.pinned && state.tone === "a") state.tone = "auto";
  });
  retone();
  words();
  // panes have other sides now
  requestAnimationFrame(() => {
    if (fitted) acts.fit(fitted);
    else lookAll();
    paint();
  });
}

let uploading = 0;
async function upload(file, codes) {
  uploading += 1;
  one("notice").textContent = `Reading ${file.name} …`;
  try {
    const answer = await send(`upload?name=${encodeURIComponent(file.name)}&encoding=${codes}`, file);
    one("notice").textContent = "";
    one("faults").textContent = (answer.faults ?? []).join("\n");
    if (answer.faults) return;
    start = await ask("start");
    controls.target.names(start);
    acts.set("target", answer.word);
  } catch (fault) {
    failed(fault);
  } finally {
    uploading -= 1;
  }
}

function save(name, content, kind) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([content], { type: kind }));
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
}

async function writeSetup() {
  const answer = await ask("setup", { changes: state.changes });
  if (answer.faults) told(answer);
  else save("setup.toml", answer.text, "application/toml");
}

let job = null;
async function begin(kind) {
  const answer = await ask("scan", { kind, changes: state.changes, seed: state.seed });
  if (answer.faults) {
    told(answer);
    return;
  }
  job = answer.job;
  one("job").hidden = false;
  one("job-text").textContent = kind === "report" ? "Scanning for the report" : "Scanning at full resolution";
  one("job-bar").value = 0;
  await follow(job);
}

async function follow(word) {
  for (;;) {
    const how = await ask("job", { job: word });
    if (how.faults.length) {
      one("faults").textContent = how.faults.join("\n");
      break;
    }
    one("job-bar").value = how.total ? how.done / how.total : 0;
    if (how.total) one("job-text").textContent = `${how.name}: strip ${how.done} of ${how.total}`;
    if (how.ready) {
      const link = document.createElement("a");
      link.href = `result/${word}`;
      link.download = how.name;
      link.click();
    }
    if (how.over || how.ready) {
      one("notice").textContent = how.cancelled ? "Cancelled." : `${how.name} is ready and goes to your downloads.`;
      break;
    }
    await new Promise((done) => setTimeout(done, 150));
  }
  one("job").hidden = true;
}

function restored() {
  state = fromFragment(location.hash);
  written = location.hash;
  fitted = state.view ? null : "target";
  answers.a = null;
  scale.held = null;
  renewed();
  paint();
}

function listen() {
  const deed = (id, act) => one(id).addEventListener("click", () => Promise.resolve(act()).catch(failed));
  const undone = (way) => {
    if (!past[way](state)) return;
    one("notice").textContent = "";
    renewed();
    words();
    requestAnimationFrame(lookAll);
  };
  deed("undo", () => undone("undo"));
  deed("redo", () => undone("redo"));
  deed("pin", pin);
  deed("back", () => change("back", () => { state.changes = { ...state.pinned }; }));
  deed("whole", acts.whole);
  deed("single", () => moved({ ...state.view, zoom: panes.b.single() }));
  deed("in", () => acts.zoom(1.25, null));
  deed("out", () => acts.zoom(0.8, null));
  deed("write-setup", writeSetup);
  deed("write-report", () => begin("report"));
  deed("write-scan", () => begin("scan"));
  deed("job-cancel", () => ask("cancel", { job }));
  deed("link", async () => {
    history.replaceState(null, "", `#${toFragment(fitted ? { ...state, view: null } : state)}`);
    await navigator.clipboard.writeText(location.href);
    one("notice").textContent = "The link is copied. It works on this machine while this preview runs; what stands after # restores the state in any other.";
  });
  one("tone").addEventListener("change", () => {
    state.tone = one("tone").value;
    scale.held = null;
    retone();
    paint();
    keep();
  });
  one("show").addEventListener("change", () => {
    state.show = one("show").value;
    arrange();
    retone();
    paint();
    keep();
  });
  one("square").addEventListener("change", () => {
    state.square = one("square").checked;
    if (fitted) acts.fit(fitted);
    paint();
    lookAll();
    keep();
  });
  one("marks").addEventListener("change", paint);
  one("trace").addEventListener("change", () => document.body.classList.toggle("traced", one("trace").checked));
  document.addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== "z" || event.target.matches("input[type=text]")) return;
    event.preventDefault();
    undone(event.shiftKey ? "redo" : "undo");
  });
  window.addEventListener("beforeprint", () => printed(true));
  window.addEventListener("afterprint", () => printed(false));
  window.addEventListener("hashchange", () => { if (location.hash !== written) restored(); });
  // the picture takes what verdict and buttons leave of the window
  const [verdict, tools] = [one("outcome"), document.querySelector(".tools")];
  const above = () => document.documentElement.style.setProperty("--above", `${verdict.offsetTop + verdict.offsetHeight + tools.offsetHeight + 10}px`);
  const heads = new ResizeObserver(above);
  for (const each of [verdict, tools]) heads.observe(each);
  new ResizeObserver(() => {
    paint();
    if (!state.view || !panes.b.raster) return;
    if (fitted) acts.fit(fitted);
    else lookAll();
  }).observe(one("panes"));
}

async function begun() {
  start = await ask("start");
  one("name").textContent = start.name;
  one("title").textContent = start.title;
  document.title = `${start.title} – linesim preview`;
  one("machinery").textContent = start.machinery;
  controls = new Controls(one("controls"), start, acts);
  controls.show(state, null);
  arrange();
  listen();
  lookAll();
}

// What tests and the curious may read: nothing in the page depends on it.
globalThis.linesim = {
  get idle() { return !uploading && !moving && lookers.a.idle && lookers.b.idle; },
  get answers() { return answers; },
  get state() { return state ?? fresh(); },
  lookers,
};

begun().catch(failed);
