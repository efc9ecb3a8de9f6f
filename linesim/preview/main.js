// The page: state in the middle, questions out, answers in.

import { mtfChart, noiseChart, sideView } from "./charts.js";
import { Controls } from "./controls.js";
import { cautions, figures, outcome, readings, verdicts } from "./figures.js";
import { Pane } from "./pane.js";
import { Past, fresh, fromFragment, toFragment } from "./state.js";
import { Looker, ask, send } from "./wire.js";

const one = (id) => document.getElementById(id);
const past = new Past();
let state = fromFragment(location.hash);
let start = null;
let controls = null;
let cursor = null;
let written = location.hash;
const answers = { a: null, b: null };

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
  whole: () => { if (panes.b.raster) moved(panes.b.whole(state.square)); },
  step: (pane, across, along) => {
    if (!pane.raster) return;
    const from = cursor ?? { x: state.view.x, y: state.view.y };
    const { raster } = pane;
    cursor = { x: from.x + across * raster.across_mm, y: from.y + along * raster.along_mm };
    paint();
  },
  set: (key, value) => change(key, () => {
    if (value === undefined) delete state.changes[key];
    else state.changes[key] = value;
    if (key === "target") delete state.changes["target.pixel_size"];
  }),
  seed: (value) => change("seed", () => { state.seed = value ?? state.seed + 1; }),
  upload,
};

const panes = { a: new Pane(one("pane-a"), acts), b: new Pane(one("pane-b"), acts) };
const lookers = {
  a: new Looker("a", (answer) => seen("a", answer), failed),
  b: new Looker("b", (answer) => seen("b", answer), failed),
};

// A question of a pane: what it is changed to, and where one looks.
function look(letter) {
  const changes = letter === "a" ? state.pinned : state.changes;
  if (!changes) return;
  const window = state.view && panes[letter].box.width > 1 ? panes[letter].window(state.view, state.square) : null;
  lookers[letter].look({ changes, seed: state.seed, window });
}

function lookAll() {
  look("b");
  if (state.pinned) look("a");
}

function seen(letter, answer) {
  if (letter === "b") told(answer);
  if (answer.faults) return;
  if (answer.waiting && !answer.figures) return;
  answers[letter] = answer.waiting ? { ...answers[letter], ...answer } : answer;
  if (answer.picture) {
    panes[letter].take(answer, state.tone);
    if (!state.view) moved(panes[letter].whole(state.square));
  }
  if (letter === "a" && !state.pinned) return;
  words();
  paint();
}

function told(answer) {
  one("faults").textContent = (answer.faults ?? []).join("\n");
  document.body.classList.toggle("refused", Boolean(answer.faults));
  one("notice").textContent = answer.waiting ? "The target is being drawn …" : "";
}

function failed(fault) {
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
  noiseChart(one("noise-chart"), b.noise);
  mtfChart(one("mtf-chart"), b.mtf);
  sideView(one("side-card"), b.side);
}

let waiting = false;
function paint() {
  if (waiting) return;
  waiting = true;
  requestAnimationFrame(() => {
    waiting = false;
    const shown = Object.entries(panes).filter(([letter]) => letter === "b" || state.pinned);
    for (const [, pane] of shown) pane.draw(state.view, state.square, cursor);
    readings(one("readings"), shown.map(([letter, pane]) => [letter.toUpperCase(), pane]), cursor);
    one("place").textContent = cursor ? `${cursor.x.toFixed(2)} mm across from the axis, ${cursor.y.toFixed(2)} mm along` : "put it on a scan";
  });
}

function moved(view) {
  state.view = view;
  paint();
  lookAll();
  keep();
}

function change(what, act) {
  past.note(state, what);
  act();
  renewed();
}

function renewed() {
  controls.show(state, null);
  arrange();
  look("b");
  if (state.pinned) look("a");
  keep();
}

function arrange() {
  one("pane-a").hidden = !state.pinned;
  one("panes").classList.toggle("two", Boolean(state.pinned));
  one("pin").textContent = state.pinned ? "Unpin A" : "Pin as A";
  one("back").disabled = !state.pinned;
  one("undo").disabled = !past.before.length;
  one("redo").disabled = !past.after.length;
  one("tone").value = state.tone;
  one("square").checked = state.square;
}

let later = null;
function keep() {
  clearTimeout(later);
  later = setTimeout(() => {
    written = `#${toFragment(state)}`;
    history.replaceState(null, "", written);
  }, 150);
}

function pin() {
  change("pin", () => {
    state.pinned = state.pinned ? null : { ...state.changes };
    answers.a = state.pinned ? answers.b : null;
    lookers.a.forget();
    if (state.pinned && panes.b.seen) panes.a.take(panes.b.seen, state.tone);
  });
  words();
  // panes have other sides now
  requestAnimationFrame(() => { paint(); lookAll(); });
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
  answers.a = null;
  renewed();
  paint();
}

function listen() {
  const deed = (id, act) => one(id).addEventListener("click", () => Promise.resolve(act()).catch(failed));
  const undone = (way) => { if (past[way](state)) { renewed(); words(); requestAnimationFrame(lookAll); } };
  deed("undo", () => undone("undo"));
  deed("redo", () => undone("redo"));
  deed("pin", pin);
  deed("back", () => change("back", () => { state.changes = { ...state.pinned }; }));
  deed("whole", acts.whole);
  deed("single", () => moved({ ...state.view, zoom: 1 / panes.b.raster.across_mm }));
  deed("in", () => acts.zoom(1.25, null));
  deed("out", () => acts.zoom(0.8, null));
  deed("write-setup", writeSetup);
  deed("write-report", () => begin("report"));
  deed("write-scan", () => begin("scan"));
  deed("job-cancel", () => ask("cancel", { job }));
  deed("link", async () => {
    history.replaceState(null, "", `#${toFragment(state)}`);
    await navigator.clipboard.writeText(location.href);
    one("notice").textContent = "The link is copied. It works on this machine while this preview runs; what stands after # restores the state in any other.";
  });
  one("tone").addEventListener("change", () => {
    state.tone = one("tone").value;
    for (const pane of Object.values(panes)) if (pane.seen) pane.tone(state.tone);
    paint();
    keep();
  });
  one("square").addEventListener("change", () => {
    state.square = one("square").checked;
    paint();
    lookAll();
    keep();
  });
  document.addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== "z" || event.target.matches("input[type=text]")) return;
    event.preventDefault();
    undone(event.shiftKey ? "redo" : "undo");
  });
  window.addEventListener("hashchange", () => { if (location.hash !== written) restored(); });
  new ResizeObserver(() => { paint(); if (state.view) lookAll(); }).observe(one("panes"));
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
  get idle() { return !uploading && lookers.a.idle && lookers.b.idle; },
  get answers() { return answers; },
  get state() { return state ?? fresh(); },
  lookers,
};

begun().catch(failed);
